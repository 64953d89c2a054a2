"""The shop's own factors: what is proposed, what holds, and how far off plans were with them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from planning.calc.factors import CellFactor, Error, NotEnoughData
from planning.inputs.taken import Cell, cell_of
from planning.services.factor_summary import KIND
from shopfloor.models import Factor, FactorState, Material, Summary, WearSet


@dataclass(frozen=True, slots=True)
class FactorRow:
    """One set, material and thickness. `learnt` is what its runs say now, `next_run` the 90 %
    range of one more run; None where the shop has too few. `before` and `after` are of the
    back-test."""

    cell: Cell
    wear_set: str
    duty: str
    material: str
    thickness_mm: float
    runs: int
    learnt: CellFactor | None
    next_run: tuple[float, float] | None
    proposed: Factor | None
    in_force: Factor | None
    before: Error | None
    after: Error | None

    @property
    def key(self) -> str:
        """Opens the runs that teach it."""
        return ":".join(str(part) for part in self.cell)


@dataclass(frozen=True, slots=True)
class Back:
    """The back-test of the whole shop."""

    before: Error
    after: Error
    inside: float
    months: int


@dataclass(frozen=True)
class FactorBoard:
    """`left_out` counts runs that may not teach, by why; `spread` and `between` are standard
    deviations of ln(actual / plan) of runs in a cell and of cells in the shop. `computed_at` is
    when all but the answers was worked out; None: not yet."""

    rows: tuple[FactorRow, ...]
    left_out: dict[str, int]
    runs: int
    not_enough: NotEnoughData | None
    shop: float | None
    spread: float | None
    between: float | None
    back: Back | None
    answered: tuple[Factor, ...]
    computed_at: datetime | None


def factor_board(*, now: datetime) -> FactorBoard:
    """Everything the proposals page shows, in five queries: what runs teach as it was last worked
    out, proposals and answers as they stand."""
    row = Summary.objects.filter(kind=KIND, key="").first()
    body: dict[str, Any] = (row.body if row else None) or {"cells": ()}
    factors = list(
        Factor.objects.select_related("wear_set", "material", "decided_by").order_by("-proposed_at")
    )
    answered = [row for row in factors if row.decided_at is not None]
    answered.sort(key=lambda row: row.decided_at or now, reverse=True)
    few, back = body.get("not_enough"), body.get("back")
    return FactorBoard(
        rows=_rows(body, factors),
        left_out=body.get("left_out", {}),
        runs=body.get("runs", 0),
        not_enough=NotEnoughData(*few) if few else None,
        shop=body.get("shop"),
        spread=body.get("spread"),
        between=body.get("between"),
        back=Back(Error(*back["before"]), Error(*back["after"]), back["inside"], back["months"])
        if back
        else None,
        answered=tuple(answered[:60]),
        computed_at=row.computed_at if row else None,
    )


def _rows(body: dict[str, Any], factors: list[Factor]) -> tuple[FactorRow, ...]:
    """By material, thickness and current: what has runs, a proposal or a factor that holds."""
    waiting = {_cell(row): row for row in factors if row.state == FactorState.PROPOSED}
    holds = {
        _cell(row): row
        for row in factors
        if row.state == FactorState.ACCEPTED and row.valid_to is None
    }
    kept = {cell_of(*each["cell"]): each for each in body["cells"]}
    sets = {row.pk: row for row in WearSet.objects.all()}
    materials = dict(Material.objects.values_list("pk", "code"))
    cells = sorted(
        {*kept, *waiting, *holds},
        key=lambda cell: (materials[cell[1]], cell[2], sets[cell[0]].current_a),
    )
    return tuple(
        _row(kept.get(cell, {}), sets[cell[0]], materials[cell[1]], cell, waiting, holds)
        for cell in cells
    )


def _row(
    known: dict[str, Any],
    wear_set: WearSet,
    material: str,
    cell: Cell,
    waiting: dict[Cell, Factor],
    holds: dict[Cell, Factor],
) -> FactorRow:
    learnt, after = known.get("learnt"), known.get("next_run")
    before, with_it = known.get("before"), known.get("after")
    return FactorRow(
        cell=cell,
        wear_set=str(wear_set),
        duty=wear_set.duty,
        material=material,
        thickness_mm=cell[2],
        runs=known.get("runs", 0),
        learnt=CellFactor(*learnt) if learnt else None,
        next_run=(after[0], after[1]) if after else None,
        proposed=waiting.get(cell),
        in_force=holds.get(cell),
        before=Error(*before) if before else None,
        after=Error(*with_it) if with_it else None,
    )


def _cell(row: Factor) -> Cell:
    return cell_of(row.wear_set_id, row.material_id, row.thickness_mm)
