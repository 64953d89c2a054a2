"""Bench work on a job line, posted. Work kind "line", key: job line id."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import transaction

from planning.calc.cost import time_amount
from planning.inputs.chunks import in_chunks
from planning.inputs.rates import rate_book
from planning.inputs.shifts import ShiftBook
from planning.services.postings import MonthPicker, TargetPosting, post_differences
from planning.services.summaries import months_changed
from shopfloor.models import BenchEntry, Posting, User
from shopfloor.runs.arcs import to_us


def line_figures(*, key: str, payload: dict[str, Any]) -> None:
    """Does one line. Harmless to repeat."""
    lines_write([int(key)])


@transaction.atomic
def lines_write(lines: Iterable[int], *, by: User | None = None, why: str = "") -> None:
    """Bench minutes of these lines at the bench rate of their day; nothing where there is none.
    `by` asked for it, and `why`."""
    months, rates = MonthPicker(), rate_book()
    for some in in_chunks(sorted(set(lines))):
        entries = list(BenchEntry.objects.filter(line__in=some).order_by("at", "pk"))
        if entries:
            shifts = ShiftBook(entries[0].at, entries[-1].at)
            wants = [want for entry in entries if (want := _want(entry, shifts, rates))]
        else:
            wants = []
        posted = Posting.objects.filter(line__in=some, kind="bench", run=None)
        post_differences(wants, posted, months=months, by=by, why=why)
    months_changed(months.changed)


def _want(entry: BenchEntry, shifts: ShiftBook, rates: Any) -> TargetPosting | None:
    day = shifts.date_of(to_us(entry.at))
    rate = rates.on("bench", day)
    if rate is None:
        return None
    return TargetPosting(
        key=f"bench:{entry.pk}",
        kind="bench",
        amount_minor=time_amount(round(entry.minutes * 60_000_000), rate.amount_minor),
        shift_date=day,
        evidence=entry.evidence,
        line_id=entry.line_id,
        quantity=entry.minutes,
        unit="min",
        cause=entry.kind,
    )
