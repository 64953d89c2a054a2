"""The shop's own factors: worked out, and used in plans once a person accepts them."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime
from typing import NamedTuple

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from planning.calc.factors import CellFactor, Fit, NotEnoughData, fit
from planning.inputs.taken import Cell, TrainingRun, cell_of, taken_runs
from shopfloor.audit.actor import acting
from shopfloor.background.plans import request_plan
from shopfloor.background.request import request_work
from shopfloor.models import DrawingRevision, Factor, FactorState, Nest, User

SAME = 0.01  # a new figure this near to the one in force, or to a declined one, is not proposed


class FactorError(ValueError):
    """What cannot be done with a factor; the message is for the person asking."""


class FittedFactors(NamedTuple):
    fit: Fit[Cell] | NotEnoughData
    runs: dict[Cell, list[TrainingRun]]
    left_out: dict[str, int]


def learn(*, now: datetime) -> FittedFactors:
    """The shop fitted from what may teach."""
    taken = taken_runs(now=now)
    by_cell: dict[Cell, list[TrainingRun]] = defaultdict(list)
    for run in taken.runs:
        by_cell[run.cell].append(run)
    logs = {cell: [run.log_moving for run in own] for cell, own in by_cell.items()}
    return FittedFactors(fit(logs), dict(by_cell), dict(taken.left_out))


@transaction.atomic
def factors_propose(*, now: datetime, learnt: FittedFactors | None = None) -> list[Factor]:
    """Proposes a factor for every cell that has runs and whose figure is new; proposals nobody
    answered give way. Raises `FactorError` where the whole shop has too few runs."""
    learnt = learnt or learn(now=now)
    if isinstance(learnt.fit, NotEnoughData):
        raise FactorError(_("There are too few measured runs: {fit}.").format(fit=learnt.fit))
    Factor.objects.filter(state=FactorState.PROPOSED).delete()
    known = _answered()
    made = []
    for cell, own in sorted(learnt.runs.items()):
        found = learnt.fit.cell(cell)
        if any(abs(found.value / value - 1) < SAME for value in known[cell]):
            continue
        made.append(_proposal(cell, found, learnt.fit.shop, [run.day for run in own], now))
    return Factor.objects.bulk_create(made)


def _answered() -> dict[Cell, list[float]]:
    """Values of each cell that are in force, or were declined since."""
    found: dict[Cell, list[float]] = defaultdict(list)
    rows = Factor.objects.exclude(state=FactorState.PROPOSED).filter(valid_to=None)
    for row in rows.order_by("decided_at"):
        cell = cell_of(row.wear_set_id, row.material_id, row.thickness_mm)
        if row.state == FactorState.ACCEPTED:
            found[cell] = [row.value]
        else:
            found[cell].append(row.value)
    return found


def _proposal(
    cell: Cell, found: CellFactor, shop: float, days: list[date], now: datetime
) -> Factor:
    wear_set, material, thickness = cell
    return Factor(
        wear_set_id=wear_set,
        material_id=material,
        thickness_mm=thickness,
        value=round(found.value, 4),
        low=round(found.low, 4),
        high=round(found.high, 4),
        bare=round(found.bare or found.value, 4),
        shop=round(shop, 4),
        runs=found.n,
        runs_from=min(days),
        runs_to=max(days),
        proposed_at=now,
    )


def factor_answer(*, factor_id: int, answer: str, by: User, why: str, now: datetime) -> Factor:
    """What a person says of a factor: accept, decline, or end it. Raises `FactorError`."""
    answers = {"accept": factor_accept, "decline": factor_decline, "end": factor_end}
    row = Factor.objects.filter(pk=factor_id).first()
    if row is None:
        raise FactorError(_("It was answered already, or a newer one has taken its place."))
    if answer not in answers:
        raise FactorError(_("{answer!r} is not an answer.").format(answer=answer))
    return answers[answer](factor=row, by=by, why=why, now=now)


@transaction.atomic
def factor_accept(*, factor: Factor, by: User, why: str, now: datetime) -> Factor:
    """From now on plans show what is expected with it; the one in force before ends. Its nests are
    planned anew. Plans that runs opened with stay as they are."""
    row = _waiting(factor)
    why = _reason(why)
    with acting(f"user:{by.username}", why=why):
        _in_force(row).update(valid_to=now)
        row.state, row.valid_from = FactorState.ACCEPTED, now
        _decide(row, by, why, now)
    _request_plans(row)
    return row


@transaction.atomic
def factor_decline(*, factor: Factor, by: User, why: str, now: datetime) -> Factor:
    """It is not used, and not proposed again until the figure has moved."""
    row = _waiting(factor)
    why = _reason(why)
    with acting(f"user:{by.username}", why=why):
        row.state = FactorState.DECLINED
        _decide(row, by, why, now)
    return row


@transaction.atomic
def factor_end(*, factor: Factor, by: User, why: str, now: datetime) -> Factor:
    """Ends one in force: plans are bare again."""
    row = Factor.objects.select_for_update().get(pk=factor.pk)
    if row.state != FactorState.ACCEPTED or row.valid_to is not None:
        raise FactorError(_("It is not in force."))
    with acting(f"user:{by.username}", why=_reason(why)):
        row.valid_to = now
        row.save(update_fields=["valid_to"])
    _request_plans(row)
    return row


def _waiting(factor: Factor) -> Factor:
    row = Factor.objects.select_for_update().filter(pk=factor.pk).first()
    if row is None or row.state != FactorState.PROPOSED:
        raise FactorError(_("It was answered already, or a newer one has taken its place."))
    return row


def _reason(why: str) -> str:
    if not why.strip():
        raise FactorError(_("Say why."))
    return why.strip()[:200]


def _decide(row: Factor, by: User, why: str, now: datetime) -> None:
    row.decided_by, row.decided_at, row.why = by, now, why
    row.save(update_fields=["state", "valid_from", "decided_by", "decided_at", "why"])


def _in_force(row: Factor) -> QuerySet[Factor]:
    return Factor.objects.filter(
        wear_set=row.wear_set_id,
        material=row.material_id,
        thickness_mm=row.thickness_mm,
        state=FactorState.ACCEPTED,
        valid_to=None,
    )


def _request_plans(row: Factor) -> None:
    nests = Nest.objects.filter(material=row.material_id, withdrawn_at=None)
    for nest in nests.only("pk", "thickness_mm"):
        if round(nest.thickness_mm, 2) == row.thickness_mm:
            request_plan(nest=nest)
    newest = DrawingRevision.objects.filter(drawing__material=row.material_id)
    of_each: dict[int, DrawingRevision] = {}
    for revision in newest.select_related("drawing").defer("contours").order_by("revision"):
        of_each[revision.drawing_id] = revision
    for revision in of_each.values():
        if round(revision.drawing.thickness_mm, 2) == row.thickness_mm:
            request_work(kind="drawing", key=str(revision.pk))


def factors_in_force(*, material_id: int, thickness_mm: float, at: datetime) -> dict[int, Factor]:
    """By set, what holds at a moment."""
    rows = Factor.objects.filter(
        material=material_id,
        thickness_mm=round(thickness_mm, 2),
        state=FactorState.ACCEPTED,
        valid_from__lte=at,
    ).order_by("valid_from")
    return {row.wear_set_id: row for row in rows if row.valid_to is None or row.valid_to > at}
