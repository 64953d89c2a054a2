"""What somebody entered as burnt while a source was silent, by date, table and duty."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from planning.calc.balance import UNASSIGNED
from planning.inputs.shifts import ShiftBook
from shopfloor.models import EnteredCount, Table
from shopfloor.runs.arcs import to_us
from shopfloor.wear.fitted import duties_fitted


@dataclass(frozen=True, slots=True)
class Entered:
    """Seconds of one entry on one date. Our assumption: they are spread evenly over its time."""

    day: date
    table_id: int
    duty: str
    seconds: float
    started_at: datetime


def entered_days(
    first: date, last: date, shifts: ShiftBook, tables: Iterable[Table]
) -> list[Entered]:
    """Entries that count (no line has come for their time), with the duty of the set that was in
    the torch. Two queries, and one more for every hundred entries."""
    near = timedelta(days=2)
    rows = EnteredCount.objects.filter(
        torch__table__in=list(tables), replaced_at=None,
        started_at__date__lte=last + near, ended_at__date__gte=first - near,
    ).select_related("torch").order_by("started_at", "pk")  # fmt: skip
    found = []
    duties = duties_fitted([(row.torch_id, row.started_at) for row in rows])
    for row, fitted in zip(rows, duties, strict=True):
        span = to_us(row.started_at), to_us(row.ended_at)
        for day, us in shifts.by_date(span):
            if first <= day <= last:
                share = row.arc_s * us / (span[1] - span[0])
                duty = fitted or UNASSIGNED
                found.append(Entered(day, row.torch.table_id, duty, share, row.started_at))
    return found
