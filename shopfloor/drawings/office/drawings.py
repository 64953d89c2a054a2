"""Drawings: the list, one with its map, figures and estimated plans, its file."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from planning.calc.said import in_units
from shopfloor.background.request import request_work
from shopfloor.drawings.queries import (
    drawing_map,
    drawing_plans,
    drawings_list,
    layer_words,
    lines_to_draw,
    newest_drawing,
    weight_kg,
)
from shopfloor.drawings.services import drawing_bytes, line_drawing
from shopfloor.models import Drawing, DrawingRevision, JobLine, KnownPart, Units
from shopfloor.web.access import ANY, COST, PLAN, DeskRequest, may, right
from shopfloor.web.forms import page_of
from shopfloor.wording.numbers_in import row_number

SORTS = (
    "name",
    "material__code",
    "cut_mm",
    "pierces",
    "net_area_mm2",
    "weight_kg",
    "line_count",
    "read_at",
)


@right(*ANY)
def drawings(request: DeskRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()[:80]
    return render(
        request,
        "drawings/drawings.html",
        {
            "page_obj": page_of(request, drawings_list(text), SORTS),
            "text": text,
            "may_plan": may(request.user, PLAN),
        },
    )


@right(*ANY)
def drawing(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Drawing.objects.select_related("material"), pk=pk)
    revision = newest_drawing(found)
    if revision is None:
        raise Http404
    plans = drawing_plans(revision)
    expected = any("factor" in plan.snapshot for plan in plans)
    x_min, y_min, x_max, y_max = revision.extents_mm
    density = found.material.density_kg_m3
    inch = request.user.units == Units.INCH
    return render(
        request,
        "drawings/drawing.html",
        {
            "drawing": found,
            "revision": revision,
            "revisions": found.revisions.defer("contours").select_related("made_by"),
            "map": drawing_map(revision.contours),
            "layers": layer_words(revision.layers),
            "width_mm": x_max - x_min,
            "height_mm": y_max - y_min,
            "kg": weight_kg(revision.net_area_mm2, found.thickness_mm, density),
            "faults": [in_units(note, inch=inch) for note in revision.notes if note["fault"]],
            "remarks": [in_units(note, inch=inch) for note in revision.notes if not note["fault"]],
            "known": KnownPart.objects.filter(places__drawing_revision=revision).distinct(),
            "plans": plans,
            "expected": expected,
            "across": 5 + expected + may(request.user, COST),
            "lines": found.lines.select_related("job").order_by("job__number", "number"),
            "to_draw": lines_to_draw(found),
            "sees_cost": may(request.user, COST),
            "may_plan": may(request.user, PLAN),
        },
    )


@right(PLAN)
@require_POST
def act(request: DeskRequest, pk: int) -> HttpResponse:
    """Give it to a job line, take it from one, or plan it anew."""
    found = get_object_or_404(Drawing, pk=pk)
    what, number = request.POST.get("do", ""), request.POST.get("line", "")
    line = JobLine.objects.filter(pk=row_number(number) or 0).first()
    if what == "plan" and (revision := newest_drawing(found)) is not None:
        request_work(kind="drawing", key=str(revision.pk))
    elif what in ("give", "take") and line is not None:
        line_drawing(line=line, drawing=found if what == "give" else None)
        messages.success(request, f"{line.part}: {'made to' if what == 'give' else 'no longer'} "
                         f"{found.name}.")  # fmt: skip
    return redirect("drawing", found.pk)


@right(*ANY)
def file(request: DeskRequest, pk: int) -> HttpResponse:
    """The bytes of a revision as they came."""
    revision = get_object_or_404(DrawingRevision, pk=pk)
    try:
        raw = drawing_bytes(revision)
    except ValidationError as problem:
        raise Http404(" ".join(problem.messages)) from problem
    response = HttpResponse(raw, content_type="application/octet-stream")
    safe = "".join(c if c.isalnum() or c in "._-" else "_" for c in revision.file_name)
    response["Content-Disposition"] = f'attachment; filename="{safe or "drawing.dxf"}"'
    return response
