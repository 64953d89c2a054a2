"""What one part takes by its drawing, as long as there is no program. Work kind "drawing", key:
drawing revision id."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.drawing import DrawingError, Reading, read_drawing
from planning.calc.drawing.as_program import as_program, estimate_words, usual_lead_mm
from planning.calc.program import Program
from planning.calc.said import to_reader
from planning.inputs.chart import rows_in_force
from planning.inputs.lives import given_of
from planning.inputs.rates import rate_book
from planning.inputs.shifts import ShiftBook
from planning.services.factors import factors_in_force
from planning.services.nest_plan import Costs, factor_words, fill
from planning.services.published import publish
from shopfloor.drawings.services import drawing_bytes
from shopfloor.models import ChartRow, DrawingPlan, DrawingRevision, SetPart, Table
from shopfloor.runs.arcs import to_us


def drawing_plan(*, key: str, payload: dict[str, Any]) -> None:
    """Plans one revision. Harmless to repeat."""
    revision = (
        DrawingRevision.objects.select_related("drawing__material").filter(pk=int(key)).first()
    )
    if revision is not None:
        drawing_revision_plan(revision=revision, now=timezone.now())


def drawing_revision_plan(*, revision: DrawingRevision, now: datetime) -> list[DrawingPlan]:
    """Publishes a plan of one part, or a problem, for every active table and every set that has
    chart rows for the material: by the planner, motion, chart, rates and wear a nest's plan goes
    by, the drawing standing for the program. Loading is left out of its costs. What the shop's
    accepted factor makes of it stands beside it, as a nest's does."""
    lead_mm = usual_lead_mm(revision.drawing.thickness_mm)
    program = _program(revision, lead_mm)  # a long drawing takes seconds: read once
    return publish(DrawingPlan, revision, lambda at: _plans(revision, program, lead_mm, at), now)


def _plans(
    revision: DrawingRevision, program: Program | str, lead_mm: float, now: datetime
) -> list[DrawingPlan]:
    drawing = revision.drawing
    by_set: dict[int, list[ChartRow]] = defaultdict(list)
    for row in rows_in_force(material_id=drawing.material_id, at=now):
        by_set[row.wear_set_id].append(row)
    parts: dict[int, list[SetPart]] = defaultdict(list)
    for part in SetPart.objects.filter(wear_set__in=by_set).order_by("pk"):
        parts[part.wear_set_id].append(part)
    gives = given_of(part.pk for own in parts.values() for part in own)
    factors = factors_in_force(
        material_id=drawing.material_id, thickness_mm=drawing.thickness_mm, at=now
    )
    rates, today = rate_book(), ShiftBook(now, now).date_of(to_us(now))
    plans = []
    for table in Table.objects.filter(active=True).order_by("pk"):
        for own in by_set.values():
            wear_set = own[0].wear_set
            plan = DrawingPlan(revision=revision, table=table, wear_set=wear_set, computed_at=now)
            costs = Costs(rates, today, table, wear_set, parts[wear_set.pk], gives)
            fill(plan, program, own, costs, drawing, loaded=False)
            if plan.total_s is not None:
                plan.load_s = table.load_s + table.unload_s
                plan.snapshot["rule"] = to_reader(
                    estimate_words(lead_mm, marked=revision.mark_mm > 0), inch=False
                )
                plan.snapshot["lead_mm"] = lead_mm
                if factor := factors.get(wear_set.pk):
                    expected_s = plan.total_s * factor.value
                    plan.snapshot["factor"] = factor_words(factor, expected_s)
            plans.append(plan)
    return plans


def _program(revision: DrawingRevision, lead_mm: float) -> Program | str:
    reading = Reading(
        unit=revision.unit, roles={each["name"]: each["role"] for each in revision.layers},
        gap_mm=revision.gap_mm,
    )  # fmt: skip
    try:
        read = read_drawing(drawing_bytes(revision), reading)
    except DrawingError as problem:
        return problem.message
    except ValidationError as problem:
        return " ".join(problem.messages)
    if not read.contours:
        return _("nothing is drawn on a layer that is cut")
    return as_program(read, lead_mm)
