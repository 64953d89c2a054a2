"""Reports kept as rows, so that no page waits while they are worked out. Work kind "month", key:
the month's first day, ISO."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db.models import F
from django.utils import timezone

from planning.reports.cost import month_now
from planning.reports.printed import to_print
from planning.reports.squareness import square_now
from planning.reports.squareness import to_print as square_to_print
from planning.reports.summaries import MONTH
from shopfloor.background.request import request_work
from shopfloor.models import Month, Summary


def months_changed(days: Iterable[date]) -> None:
    """Something in the months of these dates has changed: what was kept of them is old. The
    caller's transaction, which holds the months."""
    for first in sorted({day.replace(day=1) for day in days}):
        key = first.isoformat()
        Summary.objects.bulk_create([Summary(kind=MONTH, key=key)], ignore_conflicts=True)
        Summary.objects.filter(kind=MONTH, key=key).update(wanted=F("wanted") + 1)
        request_work(kind=MONTH, key=key)


def month_write(*, key: str, payload: dict[str, Any]) -> None:
    """Keeps the report of an open month; a closed one has its own. Harmless to repeat: what changes
    meanwhile leaves `wanted` ahead of `version`, and is asked for again."""
    kept = Summary.objects.filter(kind=MONTH, key=key)
    month = Month.objects.filter(first_day=key).defer("printed").first()
    if month is None or month.closed_at is not None:
        kept.delete()
        return
    row, _ = Summary.objects.get_or_create(kind=MONTH, key=key)
    body = to_print(month_now(month)) | {"squareness": square_to_print(square_now(month.first_day))}
    kept.update(version=row.wanted, body=body, computed_at=timezone.now())


def months_freshen() -> int:
    """Asks for the reports of open months that are not as they should be; returns how many."""
    current = Summary.objects.filter(kind=MONTH, version=F("wanted")).exclude(body=None)
    keys = set(current.values_list("key", flat=True))
    days = Month.objects.filter(closed_at=None).values_list("first_day", flat=True)
    stale = [day.isoformat() for day in days if day.isoformat() not in keys]
    for key in stale:
        request_work(kind=MONTH, key=key)
    return len(stale)
