"""What a planner should look at again before a nest is cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.program import Note
from planning.calc.program.checks import outside_sheet
from planning.calc.said import restored
from shopfloor.chart.fit import PlateFit, equal_mm, is_equal, plates_fitting
from shopfloor.models import (
    ChartRow,
    Contour,
    DrawingPlan,
    Nest,
    NestPlan,
    NestRevision,
    Sheet,
    ThicknessAnswer,
)


@dataclass(frozen=True, slots=True)
class _Laid:
    number: int
    line: int
    extents_mm: tuple[float, float, float, float]


def beyond_sheet(contours: Sequence[Contour], sheet: Sheet) -> list[Note]:
    """What of a revision would lie beyond a sheet in stock, each with its line."""
    laid = [
        _Laid(
            contour.number,
            contour.lit_line or 0,
            (
                min(x for x, _ in contour.points), min(y for _, y in contour.points),
                max(x for x, _ in contour.points), max(y for _, y in contour.points),
            ),
        )
        for contour in contours
        if contour.points
    ]  # fmt: skip
    return outside_sheet(laid, sheet.length_mm, sheet.width_mm)


@dataclass(frozen=True, slots=True)
class NearlyRow:
    """A chart row of nearly a nest's thickness, and what was said of cutting by it (None: nobody
    was asked yet)."""

    thickness_text: str
    row_mm: float
    answer: ThicknessAnswer | None


def near_thickness_rows(nest: Nest) -> list[NearlyRow]:
    """Thicknesses that a set's chart for the nest's material holds instead of the nest's own, the
    nearest first."""
    rows = ChartRow.objects.filter(
        plates_fitting(nest.material_id, nest.thickness_mm, PlateFit.NEAR), valid_to=None
    ).values_list("wear_set", "thickness_mm", "thickness_text")
    own = {s for s, mm, _ in rows if is_equal(mm, nest.thickness_mm)}
    texts = {round(mm, 6): text for s, mm, text in rows if s not in own}
    answers = {
        round(answer.row_mm, 6): answer
        for answer in ThicknessAnswer.objects.filter(
            material=nest.material_id,
            thickness_mm__range=equal_mm(nest.thickness_mm),
        ).select_related("by")
    }
    return [
        NearlyRow(texts[mm], mm, answers.get(mm))
        for mm in sorted(texts, key=lambda mm: abs(mm - nest.thickness_mm))
    ]


def refusal_of(plan: NestPlan | DrawingPlan) -> str:
    """Why there is no plan, with its lengths to be said in each reader's unit."""
    return restored(plan.snapshot.get("problem") or {"text": plan.problem})


def plan_notes(plan: NestPlan | None, revision: NestRevision) -> list[dict[str, Any]]:
    """What planning says of a program that reading did not: of its feeds against the chart, say."""
    if plan is None:
        return []
    said = {(note["line"], note["text"]) for note in revision.notes}
    return [
        note for note in plan.snapshot.get("notes", []) if (note["line"], note["text"]) not in said
    ]


def older_because(plan: NestPlan | None, *, now: datetime | None = None) -> str:
    """Which figures a plan rests on have changed since it was made; blank where none has."""
    if plan is None:
        return ""
    now = now or timezone.now()
    if plan.table.figures_at and plan.computed_at < plan.table.figures_at:
        return _("the table’s figures")
    since = Q(valid_from__gt=plan.computed_at, valid_from__lte=now) | Q(
        valid_to__gt=plan.computed_at, valid_to__lte=now
    )
    material = plan.revision.nest.material_id
    if ChartRow.objects.filter(since, wear_set=plan.wear_set_id, material=material).exists():
        return _("the cut chart")
    return ""
