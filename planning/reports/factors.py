"""The shop's own factors: what is proposed, what holds, and how far off plans were with them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from planning.calc.factors import BackTest, CellFactor, Error, NotEnoughData, back_test
from planning.inputs.taken import Cell, cell_of
from planning.services.factors import learn
from shopfloor.models import Factor, FactorState, Material, WearSet


@dataclass(frozen=True, slots=True)
class FactorRow:
    """One set, material and thickness. `learnt` is what its runs say now, `next_run` the 90 %
    range of one more run; None where the shop has too few. `before` and `after` are of the
    back-test."""

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


@dataclass(frozen=True)
class FactorBoard:
    """`left_out` counts runs that may not teach, by why; `spread` and `between` are standard
    deviations of ln(actual / plan) of runs in a cell and of cells in the shop."""

    rows: tuple[FactorRow, ...]
    left_out: dict[str, int]
    runs: int
    not_enough: NotEnoughData | None
    shop: float | None
    spread: float | None
    between: float | None
    back: BackTest[Cell] | NotEnoughData
    answered: tuple[Factor, ...]


def factor_board(*, now: datetime) -> FactorBoard:
    """Everything the proposals page shows, in nine queries or a few more."""
    learnt = learn(now=now)
    fitted = None if isinstance(learnt.fit, NotEnoughData) else learnt.fit
    back = back_test([(run.month, run.cell, run.log_moving) for own in learnt.runs.values()
                      for run in own])  # fmt: skip
    factors = list(
        Factor.objects.select_related("wear_set", "material", "decided_by").order_by("-proposed_at")
    )
    waiting = {_cell(row): row for row in factors if row.state == FactorState.PROPOSED}
    holds = {
        _cell(row): row
        for row in factors
        if row.state == FactorState.ACCEPTED and row.valid_to is None
    }
    sets = {row.pk: row for row in WearSet.objects.all()}
    materials = dict(Material.objects.values_list("pk", "code"))
    rows = []
    for cell in sorted(
        {*learnt.runs, *waiting, *holds},
        key=lambda cell: (materials[cell[1]], cell[2], sets[cell[0]].current_a),
    ):
        before, after = (None, None)
        if not isinstance(back, NotEnoughData):
            before, after = back.by_cell.get(cell, (None, None))
        rows.append(
            FactorRow(
                wear_set=str(sets[cell[0]]),
                duty=sets[cell[0]].duty,
                material=materials[cell[1]],
                thickness_mm=cell[2],
                runs=len(learnt.runs.get(cell, ())),
                learnt=fitted.cell(cell) if fitted else None,
                next_run=fitted.next_run(cell) if fitted else None,
                proposed=waiting.get(cell),
                in_force=holds.get(cell),
                before=before,
                after=after,
            )
        )
    answered = [row for row in factors if row.decided_at is not None]
    answered.sort(key=lambda row: row.decided_at or now, reverse=True)
    return FactorBoard(
        rows=tuple(rows),
        left_out=learnt.left_out,
        runs=sum(len(own) for own in learnt.runs.values()),
        not_enough=learnt.fit if isinstance(learnt.fit, NotEnoughData) else None,
        shop=fitted.shop if fitted else None,
        spread=fitted.spread if fitted else None,
        between=fitted.between if fitted else None,
        back=back,
        answered=tuple(answered[:60]),
    )


def _cell(row: Factor) -> Cell:
    return cell_of(row.wear_set_id, row.material_id, row.thickness_mm)
