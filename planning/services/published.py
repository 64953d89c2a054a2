"""Publishing plans that took seconds to make: nothing is locked meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import F, Model
from django.utils import timezone

from planning.inputs.kept import PROMISES_NOW
from shopfloor.models import Summary

TRIES: Final = 3


def publish(
    model: type[Model], revision: Model, plans: Callable[[datetime], list[Any]], now: datetime
) -> list[Any]:
    """Puts the plans of a revision in the place of those it had. Where another has published since,
    they are made anew by what is in force by then, or an older chart would replace a newer one's
    plans."""
    rows = model._default_manager.filter(revision=revision)
    for turn in range(TRIES):
        before = set(rows.values_list("pk", flat=True))  # each publishing makes new ones
        made = plans(max(now, timezone.now()) if turn else now)
        with transaction.atomic():
            type(revision)._default_manager.select_for_update().only("pk").get(pk=revision.pk)
            if set(rows.values_list("pk", flat=True)) == before:
                rows.all().delete()
                Summary.objects.filter(kind=PROMISES_NOW).update(wanted=F("wanted") + 1)
                return list(rows.bulk_create(made))
    raise RuntimeError(f"revision {revision.pk} was planned elsewhere {TRIES} times meanwhile")
