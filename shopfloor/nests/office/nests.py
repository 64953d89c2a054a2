"""Nests: the list, one nest with its plan and map, and what a plan was made from."""

from __future__ import annotations

from django.core.paginator import Page
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render

from shopfloor.audit.row_versions import version_of
from shopfloor.models import Nest, NestPlan, NestRevision
from shopfloor.nests.office.plan import plan_rows
from shopfloor.nests.part_lines import revision_groups
from shopfloor.nests.queries import (
    MOST_RUNS,
    chosen_plan,
    group_rows,
    known_by_contour,
    map_parts,
    nest_runs,
    nests_list,
    nests_shown,
    newest_revision,
    plan_work,
    revision_contours,
    revision_plans,
)
from shopfloor.nests.warnings import near_thickness_rows, older_because, plan_notes
from shopfloor.svg.parts_map import extents, parts_map
from shopfloor.web.access import ANY, COST, PLAN, DeskRequest, may, right
from shopfloor.web.forms import page_of

SORTS = ("name", "material__code", "wear_set__code", "table__name", "sheets_wanted", "made_at")


@right(*ANY)
def nests(request: DeskRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()[:80]
    withdrawn = request.GET.get("state") == "withdrawn"
    keys = nests_list(text=text, withdrawn=withdrawn).values_list("pk", flat=True)
    # A search is done once, not once more to count what it finds.
    page: Page[int] = page_of(request, list(keys)) if text else page_of(request, keys, SORTS)
    return render(
        request,
        "nests/nests.html",
        {
            "page_obj": page,
            "nests": nests_shown(page),
            "text": text,
            "withdrawn": withdrawn,
            "may_plan": may(request.user, PLAN),
        },
    )


@right(*ANY)
def nest(request: DeskRequest, pk: int) -> HttpResponse:
    seen = version_of(Nest, pk)
    found = get_object_or_404(Nest.objects.select_related("material", "wear_set", "table"), pk=pk)
    revision = newest_revision(found)
    if revision is None:
        raise Http404
    contours = revision_contours(revision)
    plans = revision_plans(revision)
    parts = map_parts(contours)
    chosen, runs = chosen_plan(found, plans), nest_runs(found)
    return render(
        request,
        "nests/nest.html",
        {
            "nest": found,
            "seen": seen,
            "revision": revision,
            "revisions": found.revisions.defer("program").select_related("made_by"),
            "plan": chosen,
            "plans": plans,
            "work": None if chosen else plan_work(revision),
            "map": parts_map(parts, width=860, font_px=15) if parts else None,
            "groups": group_rows(revision_groups(contours), contours, known_by_contour(revision)),
            "untied": sum(c.parts for c in contours if c.line_id is None and not c.inner),
            "box": extents([points for part in parts for points in part.contours])
            if parts
            else None,
            "runs": runs,
            "runs_total": {
                name: sum(vars(run)[name] for run in runs) for name in ("good", "scrap")
            },
            "most_runs": MOST_RUNS,
            "older": older_because(chosen),
            "nearly": near_thickness_rows(found),
            "plan_notes": plan_notes(chosen, revision),
            "sees_cost": may(request.user, COST),
            "may_plan": may(request.user, PLAN),
        },
    )


@right(*ANY)
def opened(request: DeskRequest, pk: int) -> HttpResponse:
    """One plan, opened down to the chart row, motion and rates it was made from."""
    plan = get_object_or_404(
        NestPlan.objects.select_related("revision__nest", "table", "wear_set").defer(
            "revision__program"
        ),
        pk=pk,
    )
    return render(
        request,
        "nests/plan_made_from.html",
        {
            "plan": plan,
            "nest": plan.revision.nest,
            "sections": plan_rows(plan, request.user),
        },
    )


@right(*ANY)
def program(request: DeskRequest, pk: int) -> HttpResponse:
    """The bytes of a revision as they came."""
    revision = get_object_or_404(NestRevision, pk=pk)
    response = HttpResponse(bytes(revision.program), content_type="application/octet-stream")
    safe = "".join(c if c.isalnum() or c in "._-" else "_" for c in revision.file_name)
    response["Content-Disposition"] = f'attachment; filename="{safe or "program"}"'
    return response
