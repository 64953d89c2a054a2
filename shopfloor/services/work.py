"""Wanting background work. The row is written in the caller's transaction; the message that
wakes a worker goes out when that commits, and may be lost: a sweep sends waiting rows again."""

from __future__ import annotations

import logging
from typing import Any

from celery import current_app
from django.db import IntegrityError, transaction
from django.utils import timezone

from shopfloor.models import Work

log = logging.getLogger(__name__)
TASK = "kerfbook.work"


def work_want(*, kind: str, key: str, payload: dict[str, Any] | None = None) -> None:
    """Asks for `kind` to be computed for `key`. Asking again while it waits changes nothing, so
    tasks must be idempotent and read what they need when they run."""
    try:
        with transaction.atomic():
            work = Work.objects.create(
                kind=kind, key=key, payload=payload or {}, wanted_at=timezone.now()
            )
    except IntegrityError:
        return
    transaction.on_commit(lambda: work_send(work_id=work.pk))


def work_send(*, work_id: int) -> None:
    """Wakes a worker. A broker that is away is no error: the row waits."""
    try:
        current_app.send_task(TASK, args=[work_id], ignore_result=True)
    except Exception as problem:  # the broker's own errors are many, and none may lose the row
        log.warning("work %s waits for the sweep: %s", work_id, problem)
