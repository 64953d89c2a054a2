"""What lies in the drawer, what is used of it and on order, and what is to be bought."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Count, Exists, F, OuterRef, Q, Subquery

from planning.calc.reorder import Reorder, order_quantity, reorder
from shopfloor.chart.parts import stock_parts
from shopfloor.models import (
    Fitting,
    PartOrder,
    Piece,
    PieceState,
    SetPart,
    Torch,
)
from shopfloor.wear.queue_need import queue_needs

WEEKS = 13  # of use that the reorder point rests on; our assumption


@dataclass(slots=True)
class DrawerRow:
    """One part. `needed` new ones for the queue: None where a life or a plan is unknown. `found`:
    its use and reorder point, None with too few weeks or no lead time on record. `need_by`: when
    the first nest of the queue that needs a new one is due."""

    part: SetPart
    sets: list[str]
    shelved: int = 0
    on_order: int = 0
    expected_on: date | None = None
    used: int = 0
    weeks: int = 0
    found: Reorder | None = None
    needed: int | None = 0
    need_by: datetime | None = None
    others: list[SetPart] = field(default_factory=list)

    @property
    def position(self) -> int:
        return self.part.in_drawer + self.on_order

    @property
    def point(self) -> int:
        """Where to order: from use, and never under what somebody asks to be warned below."""
        return max(self.found.point if self.found else 0, self.part.low_at - 1)

    @property
    def short(self) -> bool:
        """The queue needs more than the drawer holds."""
        return self.needed is not None and self.needed > self.part.in_drawer

    @property
    def low(self) -> bool:
        return self.part.in_drawer <= self.point

    @property
    def buy(self) -> int:
        found = self.found or Reorder(0.0, 0, 0)
        level = Reorder(found.per_week, self.point, max(found.up_to, self.part.low_at + 1))
        return order_quantity(level, self.position, self.needed or 0, self.part.pack)

    @property
    def buy_minor(self) -> int:
        return self.buy * self.part.price_minor


def drawer(*, now: datetime) -> list[DrawerRow]:
    """Each part once, those to buy first; twelve queries."""
    rows = {one.pk: DrawerRow(one, []) for one in stock_parts().select_related("wear_set")}
    _sets(rows)
    _shelved(rows)
    _ordered(rows)
    _used(rows, now)
    _needed(rows)
    kept = [row for row in rows.values() if any(one.wear_set.active for one in _all(row))]
    return sorted(
        kept,
        key=lambda row: (
            not row.short, not row.buy, row.part.wear_set.current_a, row.part.kind, row.part.pk,
        ),
    )  # fmt: skip


def _all(row: DrawerRow) -> list[SetPart]:
    return [row.part, *row.others]


def _sets(rows: dict[int, DrawerRow]) -> None:
    for row in rows.values():
        row.sets.append(str(row.part.wear_set))
    for other in SetPart.objects.exclude(same_as=None).select_related("wear_set").order_by("pk"):
        row = rows[other.same_as_id or 0]
        row.others.append(other)
        row.sets.append(str(other.wear_set))


def _main(part: int | None, same_as: int | None) -> int:
    return same_as or part or 0


def _shelved(rows: dict[int, DrawerRow]) -> None:
    shelved = Piece.objects.filter(state=PieceState.SHELVED).values_list("part", "part__same_as")
    for part, same_as, count in shelved.annotate(n=Count("pk")):
        rows[_main(part, same_as)].shelved += count


def open_orders() -> list[PartOrder]:
    """What is still to come, what is expected first at the top."""
    orders = PartOrder.objects.filter(ended_at=None, received__lt=F("quantity"))
    return list(
        orders.select_related("part__wear_set", "by").order_by(
            F("expected_on").asc(nulls_last=True), "pk"
        )
    )


def _ordered(rows: dict[int, DrawerRow]) -> None:
    for order in open_orders():
        row = rows[order.part_id]
        row.on_order += order.quantity - order.received
        row.expected_on = row.expected_on or order.expected_on


def _used(rows: dict[int, DrawerRow], now: datetime) -> None:
    """Pieces that went into a torch for the first time, by whole weeks back from now."""
    torches = list(Torch.objects.values_list("pk", flat=True))
    before = Fitting.objects.filter(piece=OuterRef("piece"), fitted_at__lt=OuterRef("fitted_at"))
    first = Fitting.objects.filter(
        torch__in=torches, fitted_at__gt=now - timedelta(weeks=WEEKS), fitted_at__lte=now
    ).exclude(Exists(before))
    weekly: dict[int, Counter[int]] = defaultdict(Counter)
    by_part = first.order_by().values_list("piece__part", "piece__part__same_as")
    for part, same_as, *counts in by_part.annotate(**_weeks_back(now)):
        weekly[_main(part, same_as)].update(dict(enumerate(counts)))
    # Of each torch by its index: the earliest of all would be looked for among all there ever were.
    of_torch = Fitting.objects.filter(torch=OuterRef("pk")).order_by("fitted_at")
    oldest = Torch.objects.annotate(at=Subquery(of_torch.values("fitted_at")[:1]))
    since = min(oldest.exclude(at=None).values_list("at", flat=True), default=now)
    weeks = min(WEEKS, (now - since) // timedelta(weeks=1))
    for pk, row in rows.items():
        used = [weekly[pk][week] for week in range(weeks)]
        row.used, row.weeks = sum(used), weeks
        if row.part.lead_days is not None:
            row.found = reorder(used, row.part.lead_days)


def _weeks_back(now: datetime) -> dict[str, Count]:
    """Of each whole week back from now, how many were fitted in it."""
    week = timedelta(weeks=1)
    return {
        f"week{n}": Count(
            "pk", filter=Q(fitted_at__gt=now - (n + 1) * week, fitted_at__lte=now - n * week)
        )
        for n in range(WEEKS)
    }


def _needed(rows: dict[int, DrawerRow]) -> None:
    """What the queues need, all tables' together. An unplanned nest makes its set's unknown."""
    for need in queue_needs():
        row = rows[_main(need.part.pk, need.part.same_as_id)]
        known = row.needed is not None and need.needed is not None
        row.needed = (row.needed or 0) + (need.needed or 0) if known else None
        if need.due_at is not None and need.needed:
            row.need_by = min(row.need_by or need.due_at, need.due_at)
