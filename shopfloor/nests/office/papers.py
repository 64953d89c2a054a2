"""Papers that go with the work: a job's traveler and a nest's setup sheet. No money on either."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from shopfloor.models import Job, Nest, NestPlan, QueueItem
from shopfloor.nests.papers import (
    SETUP,
    TRAVELER,
    paper_code,
    paper_drawn,
    setup_figures,
    setup_said,
    traveler_said,
)
from shopfloor.nests.part_lines import revision_groups
from shopfloor.nests.queries import (
    chosen_plan,
    group_rows,
    map_parts,
    newest_revision,
    revision_contours,
    revision_plans,
)
from shopfloor.quality.tolerances import limit_rows
from shopfloor.runs.jobs import job_heats, job_lines
from shopfloor.svg.codes import code_svg
from shopfloor.svg.parts_map import Box, extents, parts_map
from shopfloor.web.access import ANY, DeskRequest, right
from shopfloor.wording.numbers_in import row_number


@right(*ANY)
def traveler(request: DeskRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("customer"), pk=pk)
    lines = job_lines(job)
    codes = [f"{job.number}/{stands.line.number}" for stands in lines]
    rows = [(one, code_svg(code, bars=False)) for one, code in zip(lines, codes, strict=True)]
    paper = paper_drawn(
        kind=TRAVELER, job=job, said=traveler_said(job), by=request.user, now=timezone.now()
    )
    return render(
        request, "nests/traveler.html",
        {"job": job, "rows": rows, "code": code_svg(paper_code(paper)), "paper": paper,
         "heats": job_heats(job)},
    )  # fmt: skip


@right(*ANY)
def setup(request: DeskRequest, pk: int) -> HttpResponse:
    """The page for the next burning of a nest; `?item=` names a place on a table's list."""
    nest = get_object_or_404(Nest.objects.select_related("material", "wear_set", "table"), pk=pk)
    revision = newest_revision(nest)
    if revision is None:
        raise Http404
    item = _item(nest, request.GET.get("item", ""))
    contours = revision_contours(revision)
    parts = map_parts(contours)
    box = extents([points for part in parts for points in part.contours]) if parts else None
    sheet = item.sheet if item else None
    outline = (sheet.length_mm, sheet.width_mm) if sheet else None
    plan = _plan(nest, item, revision_plans(revision))
    table = item.table if item else nest.table
    said = setup_said(nest, revision, plan)
    paper = paper_drawn(
        kind=SETUP, nest=nest, table=table, said=said, by=request.user, now=timezone.now()
    )
    return render(
        request,
        "nests/setup_sheet.html",
        {
            "nest": nest, "revision": revision, "item": item, "sheet": sheet, "plan": plan,
            "figures": setup_figures(plan, request.user),
            "code": code_svg(paper_code(paper)), "paper": paper,
            "sheet_code": code_svg(sheet.code) if sheet else None,
            "example": any(r.get("example") for r in plan.snapshot.get("chart_rows", []))
            if plan
            else False,
            "map": parts_map(parts, outline, width=860, font_px=15) if parts else None,
            "box": box,
            "limits": limit_rows(nest.thickness_mm, _largest_mm(box), request.user),
            "groups": group_rows(revision_groups(contours), contours),
        },
    )  # fmt: skip


def _largest_mm(box: Box | None) -> float:
    """The largest size a part of the nest can have."""
    return max(box.x_max - box.x_min, box.y_max - box.y_min) if box else 0.0


def _item(nest: Nest, asked: str) -> QueueItem | None:
    waiting = QueueItem.objects.filter(nest=nest, state__in=("running", "waiting")).select_related(
        "sheet__heat", "table"
    )
    if (pk := row_number(asked)) is not None:
        return get_object_or_404(waiting, pk=pk)
    return waiting.order_by("state", "position").first()


def _plan(nest: Nest, item: QueueItem | None, plans: list[NestPlan]) -> NestPlan | None:
    if item is None:
        return chosen_plan(nest, plans)
    here = (item.table_id, nest.wear_set_id)
    return next((plan for plan in plans if (plan.table_id, plan.wear_set_id) == here), None)
