"""What a quote's lines cost as of now: the plan, the shop's own spread, the sheet."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from typing import Any

from django.utils.translation import gettext as _

from planning.calc.cost import rounded
from planning.calc.drawing.laying import parts_a_sheet
from planning.calc.factors import Fit, NotEnoughData, fit
from planning.calc.quote import Spread, allowed, own_spread, pooled_spread
from planning.calc.said import around, to_reader
from planning.inputs.taken import Cell, cell_of, taken_runs
from planning.services.nest_plan import revision_plan
from shopfloor.chart.fit import PlateFit, plates_fitting
from shopfloor.models import (
    Drawing,
    DrawingPlan,
    DrawingRevision,
    Nest,
    NestPlan,
    NestRevision,
    Sheet,
    Table,
    WearSet,
)
from shopfloor.nests.warnings import refusal_of

KINDS = ("machine", "labour", "gas", "energy", "wear", "bench")


@dataclass(frozen=True, slots=True)
class Wanted:
    """A line to price: a nest's revision so many times, or a drawing's for so many parts (`sheets`
    is then worked out), on a table with a set."""

    revision: NestRevision | None
    table: Table
    wear_set: WearSet
    sheets: int
    drawing: DrawingRevision | None = None
    parts: int | None = None


@dataclass(frozen=True)
class Priced:
    """Minor units of all sheets; None is unknown and `unknown` says why. `cost_minor` is the plan
    with its allowance, `material_minor` the sheets without any."""

    wanted: Wanted
    plan_minor: int | None
    cost_minor: int | None
    material_minor: int | None
    unknown: tuple[str, ...]
    made_from: dict[str, Any] = field(default_factory=dict)


class Spreads:
    """The shop's ln(actual / plan), whole times with their stoppages: what is paid for is all of
    it. Read once for any number of lines."""

    def __init__(self, now: datetime) -> None:
        self._cells: dict[Cell, list[float]] = defaultdict(list)
        for run in taken_runs(now=now).runs:
            self._cells[run.cell].append(run.log_whole)
        self._shop: Fit[Cell] | NotEnoughData = fit(self._cells)

    def of(self, cell: Cell) -> Spread | NotEnoughData:
        own = self._cells.get(cell, [])
        found = own_spread(own)
        if not isinstance(found, NotEnoughData):
            return found
        if isinstance(self._shop, NotEnoughData):
            return self._shop
        return pooled_spread(self._shop, len(own))


def price_line(wanted: Wanted, spreads: Spreads, chance: float, *, now: datetime) -> Priced:
    """One line at the plan, rates and stock prices that stand now: it is planned anew, for a plan
    keeps the rates of the day it was made."""
    if wanted.revision is not None:
        revision_plan(revision=wanted.revision, now=now)
    return price_planned(wanted, spreads, chance)


def price_planned(wanted: Wanted, spreads: Spreads, chance: float) -> Priced:
    """One line by the plan that was made last."""
    if wanted.revision is None:
        raise ValueError(_("a line of a drawing is priced by the part"))
    nest = wanted.revision.nest
    unknown: list[str] = []
    plan = NestPlan.objects.filter(
        revision=wanted.revision, table=wanted.table, wear_set=wanted.wear_set
    ).first()
    costs = plan.costs_minor if plan is not None and not plan.problem else {}
    lacking = [kind for kind in KINDS if kind not in costs]
    if plan is None or plan.problem:
        why = refusal_of(plan) if plan else _("not planned there yet")
        unknown.append(around(f"{nest.name}: ", why))
    elif lacking:
        unknown.append(
            _("{nest}: {lacking} not known").format(nest=nest.name, lacking=", ".join(lacking))
        )
    plan_minor = None if lacking else sum(costs[kind] for kind in KINDS) * wanted.sheets
    spread = spreads.of(cell_of(wanted.wear_set.pk, nest.material_id, nest.thickness_mm))
    cost_minor = None
    if isinstance(spread, NotEnoughData):
        unknown.append(
            _("{nest}: what runs take against their plan, {spread}").format(
                nest=nest.name, spread=spread
            )
        )
    elif plan_minor is not None:
        cost_minor = rounded(allowed(plan_minor, spread, chance))
    sheet = sheet_price(nest)
    if sheet is None:
        unknown.append(_("{nest}: no sheet of it has a price in stock").format(nest=nest.name))
    material, share = _material(nest, sheet, wanted.sheets)
    return Priced(
        wanted,
        plan_minor,
        cost_minor,
        material,
        tuple(unknown),
        made_from(plan, spread, sheet) | share,
    )


def nests_on_sheet(nest: Nest, sheet: Sheet) -> Fraction:
    """How many nests of its size a whole sheet gives, since what is left over goes on to other
    work. One whose size is not known takes a whole sheet; of one that is larger the area counts."""
    size = nest.sheet_length_mm, nest.sheet_width_mm
    if not (size[0] and size[1] and sheet.area_mm2):
        return Fraction(1)
    whole = parts_a_sheet(
        (size[0], size[1]), (sheet.length_mm, sheet.width_mm), gap_mm=0.0, edge_mm=0.0
    )
    return Fraction(whole) if whole else Fraction(sheet.area_mm2 / (size[0] * size[1]))


def _material(nest: Nest, sheet: Sheet | None, nests: int) -> tuple[int | None, dict[str, Any]]:
    """Minor units of plate for so many nests, and what is kept of it where they do not take one
    whole sheet each."""
    if sheet is None or sheet.cost_minor is None:
        return None, {}
    of_it = nests_on_sheet(nest, sheet)
    minor = rounded(Fraction(sheet.cost_minor * nests) / of_it)
    if of_it == 1:
        return minor, {}
    return minor, {"nests_a_sheet": float(of_it), "sheets_share": float(nests / of_it)}


def sheet_price(nest: Nest | Drawing) -> Sheet | None:
    """The whole sheet of the shop's own that came in last with a price: what the next one costs."""
    return (
        Sheet.objects.filter(
            plates_fitting(nest.material_id, nest.thickness_mm, PlateFit.SAME),
            owner=None,
            parent=None,
            cost_minor__isnull=False,
        )
        .order_by("-received_at", "-pk")
        .first()
    )


def made_from(
    plan: NestPlan | DrawingPlan | None, spread: Spread | NotEnoughData, sheet: Sheet | None
) -> dict[str, Any]:
    """What a line was priced from, to be kept with it."""
    found: dict[str, Any] = {}
    if plan is not None:
        found["costs_minor"] = plan.costs_minor
        found["rates"] = plan.snapshot.get("rates", {})
        found["wear"] = plan.snapshot.get("wear", [])
        found["planned_at"] = plan.computed_at.isoformat()
    if isinstance(spread, Spread):
        found["spread"] = {
            "mu": spread.mu,
            "sigma": spread.sigma,
            "se": spread.se,
            "n": spread.n,
            "words": to_reader(spread.words, inch=False),
        }
    if sheet is not None:
        found["sheet"] = {"code": sheet.code, "minor": sheet.cost_minor}
    return found
