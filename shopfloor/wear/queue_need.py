"""What each table's queue needs of each part: how many new pieces, and when the one in the torch
ends, by what is left of it and by what a piece gives in this shop."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db.models import OuterRef, Subquery

from planning.calc.life.ahead import Step, reached
from planning.calc.routes import PartStock, piece_needs
from shopfloor.models import NestPlan, NestRevision, SetPart
from shopfloor.nests.waiting import waiting_items
from shopfloor.wear.fitted import fitted_now
from shopfloor.wear.lives import piece_starts
from shopfloor.wear.plate_to_buy import jobs_due


@dataclass(frozen=True, slots=True)
class QueueNeed:
    """`starts` of the part's set in a table's queue, `left` in its torches (0: another set is in),
    new pieces `needed`; None where a plan or a life is unknown. `within`: the nest in which what is
    left ends, `after_s` seconds of planned work from now; "" and None where it lasts, or is not in,
    or something before has no plan. `due_at`: when the first nest that needs it is due. `wanted`:
    new pieces that all tables and sets need together which take it from one drawer."""

    table_id: int
    part: SetPart
    starts: int | None
    left: float | None
    needed: int | None
    within: str = ""
    after_s: float | None = None
    due_at: datetime | None = None
    wanted: int = 0

    @property
    def short(self) -> bool:
        """It needs new ones, and the drawer has not enough for all that do."""
        return bool(self.needed) and self.wanted > self.part.in_drawer


@dataclass(frozen=True, slots=True)
class _Item:
    table: int
    nest: str
    wear_set: int
    starts: int | None
    seconds: float | None
    due_at: datetime | None


def queue_needs() -> list[QueueNeed]:
    """By table in the order of its queue, parts in the order of the stack; six queries."""
    by_table: dict[int, list[_Item]] = defaultdict(list)
    for item in _waiting():
        by_table[item.table].append(item)
    sets = {item.wear_set for own in by_table.values() for item in own}
    parts: dict[int, list[SetPart]] = defaultdict(list)
    listed = SetPart.objects.filter(wear_set__in=sets).select_related("wear_set").order_by("pk")
    for part in listed:
        parts[part.wear_set_id].append(part)
    gives = piece_starts(listed)
    left = _left()
    found = []
    for table, items in by_table.items():
        for wear_set in dict.fromkeys(item.wear_set for item in items):
            for part in parts[wear_set]:
                own = left.get((table, wear_set, part.kind), 0.0)
                found.append(_need(items, part, own, gives[part.pk]))
    wanted: Counter[int] = Counter()
    for need in found:
        wanted[_drawer_of(need.part)] += need.needed or 0
    return [replace(need, wanted=wanted[_drawer_of(need.part)]) for need in found]


def _drawer_of(part: SetPart) -> int:
    return part.same_as_id or part.pk


def _waiting() -> list[_Item]:
    """What waits, in its order, with its plan on its table and when it or its job is due."""
    newest = NestRevision.objects.filter(nest=OuterRef("nest")).order_by("-revision")
    plan = NestPlan.objects.filter(
        revision=OuterRef("newest"), table=OuterRef("table"), wear_set=OuterRef("nest__wear_set")
    )
    rows: list[Any] = list(
        waiting_items()
        .annotate(newest=Subquery(newest.values("pk")[:1]))
        .annotate(
            starts=Subquery(plan.values("pierces")[:1]),
            total_s=Subquery(plan.values("total_s")[:1]),
            load_s=Subquery(plan.values("load_s")[:1]),
        )
        .order_by("table", "position", "pk")
        .values_list(
            "table", "nest", "nest__name", "nest__wear_set", "starts", "total_s", "load_s",
            "due_at", named=True,
        )
    )  # fmt: skip
    promised = jobs_due({row.nest for row in rows})
    return [
        _Item(
            row.table,
            row.nest__name,
            row.nest__wear_set,
            row.starts,
            None if row.total_s is None else row.total_s + (row.load_s or 0.0),
            min((at for at in (row.due_at, promised.get(row.nest)) if at), default=None),
        )
        for row in rows
    ]


def _need(
    items: Sequence[_Item], part: SetPart, left: float | None, gives: float | None
) -> QueueNeed:
    own = [item for item in items if item.wear_set == part.wear_set_id]
    known = [item.starts for item in own if item.starts is not None]
    starts = sum(known) if len(known) == len(own) else None
    stock = PartStock(part.kind, left, gives, part.in_drawer)
    needed = piece_needs(starts, [stock])[0].needed if starts is not None else None
    end = reached(_steps(items, part.wear_set_id), left) if left else None
    dates = [item.due_at for item in own if item.due_at is not None]
    return QueueNeed(
        items[0].table,
        part,
        starts,
        left,
        needed,
        end.name if end else "",
        end.seconds if end else None,
        min(dates, default=None),
    )


def _steps(items: Sequence[_Item], wear_set: int) -> list[Step]:
    """The work as far as all of it is planned."""
    steps = []
    for item in items:
        if item.seconds is None or item.starts is None:
            break
        steps.append(Step(item.nest, item.seconds, item.starts if item.wear_set == wear_set else 0))
    return steps


def _left() -> dict[tuple[int, int, str], float | None]:
    """By table, set and kind the starts left in what is in its torches; None: unknown."""
    found: dict[tuple[int, int, str], float | None] = {}
    for fitting in fitted_now():
        part = fitting.piece.part
        outlook = getattr(fitting.piece, "outlook", None)
        known = outlook.starts_left if outlook is not None else None
        key = (fitting.torch.table_id, part.wear_set_id, part.kind)
        had = found.get(key, 0.0)
        found[key] = None if known is None or had is None else had + max(0, known)
    return found
