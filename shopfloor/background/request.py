"""Asking for background work. The row is written in the caller's transaction; the message that
wakes a worker goes out when that commits, and may be lost: a sweep finds waiting rows."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from shopfloor.background.waking import wake_after_commit
from shopfloor.models import Work


def failed_lately(kind: str, prefix: str) -> list[int]:
    """Row numbers after `prefix` in keys of a kind that were set aside in the last day: what asks
    for all that is missing, again and again, leaves them out, so that one that cannot be done
    neither fills the list nor keeps the others from it."""
    since = timezone.now() - timedelta(days=1)
    rows = Work.objects.filter(
        state="failed", wanted_at__gt=since, kind=kind, key__startswith=prefix
    )
    return [int(key.removeprefix(prefix)) for key in rows.values_list("key", flat=True)]


def request_work(*, kind: str, key: str, payload: dict[str, Any] | None = None) -> None:
    """Asks for `kind` to be computed for `key`. Asking again while it waits changes nothing, so
    tasks must be idempotent and read what they need when they run."""
    try:
        with transaction.atomic():
            work = Work.objects.create(
                kind=kind, key=key, payload=payload or {}, wanted_at=timezone.now()
            )
    except IntegrityError:
        return
    wake_after_commit(work.pk)
