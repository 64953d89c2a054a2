"""What a quote's lines cost as of now by the plan, and the sheets they take."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction
from typing import Any

from django.utils.translation import gettext as _

from planning.calc.ahead.quotes import LineAhead
from planning.calc.cost import rounded
from planning.calc.drawing.laying import parts_a_sheet
from planning.calc.said import around
from planning.inputs.stored_time import cell_of
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
    is then worked out), on a table with a set. `breaks` are other numbers of sheets, or parts, to
    be priced too; `setup_min` minutes of set-up come once, however many. `words` are what the
    customer reads."""

    revision: NestRevision | None
    table: Table
    wear_set: WearSet
    sheets: int
    drawing: DrawingRevision | None = None
    parts: int | None = None
    breaks: tuple[int, ...] = ()
    setup_min: float = 0.0
    words: str = ""

    @property
    def quantity(self) -> int:
        return self.sheets if self.drawing is None else self.parts or 0

    def times(self, quantity: int) -> Wanted:
        """The same for another number of sheets, or parts."""
        if self.drawing is None:
            return replace(self, sheets=quantity)
        return replace(self, parts=quantity, sheets=0)


@dataclass(frozen=True)
class Priced:
    """Minor units of all sheets as planned; None is unknown and `unknown` says why. `ahead` is
    what its allowance is drawn from."""

    wanted: Wanted
    plan_minor: int | None
    material_minor: int | None
    unknown: tuple[str, ...]
    made_from: dict[str, Any] = field(default_factory=dict)
    ahead: LineAhead | None = None
    setup_minor: int | None = 0


def price_line(wanted: Wanted, *, now: datetime) -> Priced:
    """One line at the plan, rates and stock prices that stand now: it is planned anew, for a plan
    keeps the rates of the day it was made."""
    if wanted.revision is not None:
        revision_plan(revision=wanted.revision, now=now)
    return price_planned(wanted)


def price_planned(wanted: Wanted) -> Priced:
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
    ahead = None
    if plan is not None and not lacking:
        table_s = (plan.total_s or 0.0) + (plan.load_s or 0.0)
        cell = cell_of(wanted.wear_set.pk, nest.material_id, nest.thickness_mm)
        ahead = line_ahead(wanted, cell, nest.pk, plan.total_s or 0.0, table_s, costs)
        ahead = replace(ahead, fixed_minor=ahead.fixed_minor * wanted.sheets)
    sheet = sheet_price(nest)
    if sheet is None:
        unknown.append(_("{nest}: no sheet of it has a price in stock").format(nest=nest.name))
    material, share = _material(nest, sheet, wanted.sheets)
    return Priced(
        wanted,
        plan_minor,
        material,
        tuple(unknown),
        made_from(plan, sheet) | share,
        ahead,
    )


def line_ahead(
    wanted: Wanted,
    cell: tuple[object, ...],
    nest: Hashable,
    plan_s: float,
    table_s: float,
    costs: Mapping[str, int],
) -> LineAhead:
    """A line as it is drawn: `table_s` and `costs` (minor units) are of one stretch of planned
    work, `plan_s` of one sheet. What the stretch's bench and wear cost does not grow with time."""
    return LineAhead(
        table=wanted.table.pk,
        cell=cell,
        nest=nest,
        plan_s=plan_s,
        sheets=wanted.sheets,
        minor_per_s=(costs["machine"] + costs["labour"]) / table_s if table_s else 0.0,
        arc_minor=costs["gas"] + costs["energy"],
        fixed_minor=costs["wear"] + costs["bench"],
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


def made_from(plan: NestPlan | DrawingPlan | None, sheet: Sheet | None) -> dict[str, Any]:
    """What a line was priced from, to be kept with it."""
    found: dict[str, Any] = {}
    if plan is not None:
        found["costs_minor"] = plan.costs_minor
        found["rates"] = plan.snapshot.get("rates", {})
        found["wear"] = plan.snapshot.get("wear", [])
        found["planned_at"] = plan.computed_at.isoformat()
        if marking := plan.snapshot.get("marking"):
            found["marking"] = marking
    if sheet is not None:
        found["sheet"] = {"code": sheet.code, "minor": sheet.cost_minor}
    return found
