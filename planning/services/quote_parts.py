"""Lines of a quote from the parts of a list of drawings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from planning.calc.said import around
from planning.services.drawing_plan import drawing_revision_plan
from planning.services.quotes import PartsAsked, QuoteError
from shopfloor.models import Drawing, DrawingPlan, DrawingRevision
from shopfloor.nests.warnings import refusal_of


@dataclass(frozen=True, slots=True)
class PartWanted:
    """So many of a drawing; `table_id` and `wear_set_id` None take the fastest route."""

    drawing_id: int
    parts: int
    table_id: int | None = None
    wear_set_id: int | None = None


def parts_asked(
    wanted: Sequence[PartWanted], *, now: datetime, setup_min: float = 0.0
) -> list[PartsAsked]:
    """Each part on its route. Raises `QuoteError` naming the drawing that has none."""
    return [_asked(each, now, setup_min) for each in wanted]


def _asked(wanted: PartWanted, now: datetime, setup_min: float) -> PartsAsked:
    if wanted.table_id is not None and wanted.wear_set_id is not None:
        return PartsAsked(
            wanted.drawing_id, wanted.table_id, wanted.wear_set_id, wanted.parts,
            setup_min=setup_min,
        )  # fmt: skip
    revision = _newest([wanted.drawing_id]).get(wanted.drawing_id)
    if revision is None:
        raise QuoteError(_("There is no such drawing, table or set any more."))
    plans = list(DrawingPlan.objects.filter(revision=revision).order_by("total_s", "pk"))
    plans = plans or drawing_revision_plan(revision=revision, now=now)
    able = sorted(
        (plan for plan in plans if not plan.problem), key=lambda plan: plan.total_s or 0.0
    )
    if not able:
        name = revision.drawing.name
        why = refusal_of(plans[0]) if plans else _("no set has its material in the cut chart")
        raise QuoteError(around(f"{name}: ", why, "."))
    best = able[0]
    return PartsAsked(
        wanted.drawing_id, best.table_id, best.wear_set_id, wanted.parts, setup_min=setup_min
    )


def _newest(drawing_ids: Sequence[int]) -> dict[int, DrawingRevision]:
    rows = Drawing.objects.filter(pk__in=drawing_ids)
    found: dict[int, DrawingRevision] = {}
    for revision in (
        DrawingRevision.objects.filter(drawing__in=rows)
        .select_related("drawing__material").defer("contours", "notes").order_by("revision")
    ):  # fmt: skip
        found[revision.drawing_id] = revision
    return found
