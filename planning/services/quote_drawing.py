"""What parts of a drawing cost before there is a program: estimated, and said to be."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from planning.calc.ahead.quotes import LineAhead
from planning.calc.cost import rounded
from planning.calc.drawing.laying import RULE, parts_a_sheet
from planning.calc.said import around, to_reader
from planning.inputs.lives import given_of
from planning.inputs.rates import rate_book
from planning.inputs.stored_time import cell_of
from planning.services.nest_plan import Costs, costs_minor
from planning.services.quote_pricing import (
    KINDS,
    Priced,
    Wanted,
    line_ahead,
    made_from,
    sheet_price,
)
from shopfloor.models import DrawingPlan, DrawingRevision, SetPart, Sheet
from shopfloor.nests.warnings import refusal_of
from shopfloor.site.queries import shift_date_of


def price_drawing(wanted: Wanted, *, now: datetime) -> Priced:
    """One line at the rates and stock prices that stand now, by the drawing's newest plan. Money
    is reckoned once on the times of all parts, with a loading for every sheet they take; material
    is their share of a sheet, since what is left over goes on to other work."""
    revision, parts = wanted.drawing, wanted.parts or 0
    if revision is None or parts < 1:
        raise ValueError(_("a line of a drawing has parts"))
    drawing = revision.drawing
    plan = DrawingPlan.objects.filter(
        revision=revision, table=wanted.table, wear_set=wanted.wear_set
    ).first()
    unknown: list[str] = []
    sheet, a_sheet = _sheet(revision, unknown)
    sheets = math.ceil(parts / a_sheet) if a_sheet else 0
    plan_minor, ahead = None, None
    if plan is None or plan.problem:
        why = refusal_of(plan) if plan else _("not planned there yet")
        unknown.append(around(f"{drawing.name}: ", why))
    elif sheets:
        costs = _all_parts(plan, wanted, parts, sheets, now)
        if lacking := [kind for kind in KINDS if kind not in costs]:
            unknown.append(
                _("{drawing}: {lacking} not known").format(
                    drawing=drawing.name, lacking=", ".join(lacking)
                )
            )
        else:
            plan_minor = sum(costs[kind] for kind in KINDS)
            ahead = _ahead(plan, replace(wanted, sheets=sheets), parts, costs)
    material = None
    if sheet is not None and sheet.cost_minor is not None and a_sheet:
        material = rounded(sheet.cost_minor * parts / a_sheet)
    kept = made_from(plan, sheet)
    kept |= _rules(plan, a_sheet, parts)
    return Priced(replace(wanted, sheets=sheets), plan_minor, material, tuple(unknown), kept, ahead)


def _ahead(plan: DrawingPlan, wanted: Wanted, parts: int, costs: dict[str, int]) -> LineAhead:
    """Its sheets are taken as alike, though the last one may hold fewer parts."""
    drawing, sheets = plan.revision.drawing, wanted.sheets
    cell = cell_of(wanted.wear_set.pk, drawing.material_id, drawing.thickness_mm)
    part_s = plan.total_s or 0.0
    table_s = part_s * parts + (plan.load_s or 0.0) * sheets
    nest = ("drawing", drawing.pk)
    ahead = line_ahead(wanted, cell, nest, part_s * parts / sheets, table_s, costs)
    return replace(ahead, arc_minor=ahead.arc_minor / sheets)


def _sheet(revision: DrawingRevision, unknown: list[str]) -> tuple[Sheet | None, int]:
    """The sheet that came in last with a price, and how many parts lie on it."""
    drawing = revision.drawing
    sheet = sheet_price(drawing)
    if sheet is None:
        unknown.append(
            _("{drawing}: no sheet of it has a price in stock").format(drawing=drawing.name)
        )
        return None, 0
    x_min, y_min, x_max, y_max = revision.extents_mm
    a_sheet = parts_a_sheet((x_max - x_min, y_max - y_min), (sheet.length_mm, sheet.width_mm))
    if not a_sheet:
        unknown.append(
            _("{drawing}: it does not lie on a sheet like {sheet}").format(
                drawing=drawing.name, sheet=sheet.code
            )
        )
    return sheet, a_sheet


def _all_parts(
    plan: DrawingPlan, wanted: Wanted, parts: int, sheets: int, now: datetime
) -> dict[str, int]:
    """Money by kind of all parts together, each kind rounded once."""
    own_parts = list(SetPart.objects.filter(wear_set=wanted.wear_set).order_by("pk"))
    costs = Costs(
        rate_book(), shift_date_of(now), wanted.table, wanted.wear_set, own_parts,
        given_of(part.pk for part in own_parts),
    )  # fmt: skip
    all_of_it = DrawingPlan(
        total_s=(plan.total_s or 0.0) * parts,
        load_s=(plan.load_s or 0.0) * sheets,
        cut_s=(plan.cut_s or 0.0) * parts,
        pierce_s=(plan.pierce_s or 0.0) * parts,
        pierces=(plan.pierces or 0) * parts,
        bench_min=None if plan.bench_min is None else plan.bench_min * parts,
    )
    found, _ = costs_minor(all_of_it, plan.snapshot["chart"]["arc_v"], costs)
    return found


def _rules(plan: DrawingPlan | None, a_sheet: int, parts: int) -> dict[str, Any]:
    said = [to_reader(RULE, inch=False)]
    if plan is not None and "rule" in plan.snapshot:
        said.insert(0, plan.snapshot["rule"])
    return {
        "rules": said,
        "parts_a_sheet": a_sheet or None,
        "sheets_share": parts / a_sheet if a_sheet else None,
        "part_s": plan.total_s if plan is not None else None,
    }
