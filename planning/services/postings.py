"""Posting amounts so that repeating it changes nothing and a closed month never changes.

What is wanted is compared with what is posted under the same key; only the difference is posted,
as a row of its own. A difference about a closed month goes into the first open month after it and
names the month it belongs to. The key of a row is "<what it is about>:v<n>".
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from shopfloor.models import Month, Posting, User


@dataclass(frozen=True, slots=True)
class TargetPosting:
    """An amount that should stand in the books under `key`, in all its postings together."""

    key: str
    kind: str
    amount_minor: int
    shift_date: date
    evidence: str
    line_id: int | None = None
    run_id: uuid.UUID | None = None
    piece_id: int | None = None
    quantity: float | None = None
    unit: str = ""
    cause: str = ""


def next_month(day: date) -> date:
    first = day.replace(day=1)
    return (
        first.replace(year=first.year + 1, month=1)
        if first.month == 12
        else first.replace(month=first.month + 1)
    )


class MonthPicker:
    """The months, locked for the transaction so that none closes under a posting."""

    def __init__(self) -> None:
        rows = Month.objects.select_for_update().defer("printed").order_by("first_day")
        self._months = {month.first_day: month for month in rows}
        self.changed: set[date] = set()  # months that were posted into

    def place(self, day: date) -> tuple[Month, Month | None]:
        """The month to post into, and the closed one the posting belongs to, if it is late."""
        first = day.replace(day=1)
        own = self._month(first)
        if own.closed_at is None:
            return own, None
        at = own
        while at.closed_at is not None:
            at = self._month(next_month(at.first_day))
        return at, own

    def _month(self, first: date) -> Month:
        if first not in self._months:
            self._months[first] = Month.objects.create(first_day=first)
        return self._months[first]


@dataclass
class _Posted:
    minor: int = 0
    quantity: float = 0.0
    rows: int = 0
    last: Posting | None = None


def post_differences(
    wants: Iterable[TargetPosting],
    posted: QuerySet[Posting],
    *,
    months: MonthPicker,
    by: User | None = None,
    why: str = "",
) -> list[Posting]:
    """Makes the books say what is wanted. `posted` are all rows of the same scope: a key that is
    there and no longer wanted is taken back. Returns the rows it wrote. The caller's transaction.
    """
    standing: dict[str, _Posted] = defaultdict(_Posted)
    for row in posted.order_by("pk"):
        entry = standing[row.key.rpartition(":v")[0]]
        entry.minor += row.amount_minor
        entry.quantity += row.quantity or 0.0
        entry.rows += 1
        entry.last = row
    made: list[Posting] = []
    for want in wants:
        had = standing.pop(want.key, None) or _Posted()
        if want.amount_minor != had.minor:
            made.append(_difference(want, had, months, by, why))
    for key, had in standing.items():
        if had.minor and had.last is not None:
            gone = _as_want(key, had.last)
            made.append(_difference(gone, had, months, by, why or _("no longer so")))
    Posting.objects.bulk_create(made, batch_size=500)
    months.changed |= {row.month.first_day for row in made}
    return made


def _difference(
    want: TargetPosting, had: _Posted, months: MonthPicker, by: User | None, why: str
) -> Posting:
    month, belongs_to = months.place(want.shift_date)
    quantity = want.quantity
    if had.rows and quantity is not None:
        quantity -= had.quantity
    if had.rows and not why:
        why = _("worked out again")
    whole = had.rows == 1 and not want.amount_minor
    return Posting(
        key=f"{want.key}:v{had.rows + 1}",
        month=month,
        belongs_to=belongs_to,
        shift_date=want.shift_date,
        kind=want.kind,
        line_id=want.line_id,
        run_id=want.run_id,
        piece_id=want.piece_id,
        quantity=quantity,
        unit=want.unit,
        amount_minor=want.amount_minor - had.minor,
        cause=want.cause,
        evidence=want.evidence,
        reverses=had.last if whole else None,
        by=by,
        why=why[:200],
    )


def _as_want(key: str, row: Posting) -> TargetPosting:
    return TargetPosting(
        key=key,
        kind=row.kind,
        amount_minor=0,
        shift_date=row.shift_date,
        evidence=row.evidence,
        line_id=row.line_id,
        run_id=row.run_id,
        piece_id=row.piece_id,
        quantity=0.0 if row.quantity is not None else None,
        unit=row.unit,
        cause=row.cause,
    )
