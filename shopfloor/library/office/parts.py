"""Parts known by their shape: the list, and one with where it was cut and what a piece took."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from planning.calc.said import to_reader
from shopfloor.library.costs import part_runs, per_piece
from shopfloor.library.queries import (
    likenesses,
    nest_places,
    part_checks,
    part_lines,
    part_map,
    part_size_mm,
    parts_list,
    revisions_of,
    with_counts,
)
from shopfloor.library.services import likeness_answer, part_rename
from shopfloor.models import KnownPart, LikePart, Units
from shopfloor.web.access import ANY, COST, PLAN, DeskRequest, may, right
from shopfloor.web.forms import page_of
from shopfloor.wording.numbers_in import row_number

SORTS = ("name", "material__code", "area_mm2", "holes", "made_at")


@right(*ANY)
def parts(request: DeskRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()[:80]
    page = page_of(request, parts_list(text), SORTS)
    rows = with_counts([row.pk for row in page.object_list])  # of one page alone
    shown = {"page_obj": page, "rows": rows, "text": text}
    return render(request, "library/parts.html", shown)


@right(*ANY)
def part(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(KnownPart.objects.select_related("material"), pk=pk)
    runs = part_runs(found)
    inch = request.user.units == Units.INCH
    return render(
        request,
        "library/part.html",
        {
            "part": found,
            "map": part_map(found),
            "size": part_size_mm(found),
            "drawings": found.places.filter(drawing_revision__isnull=False)
            .select_related("drawing_revision__drawing")
            .defer("drawing_revision__contours"),
            "revisions": revisions_of(found),
            "likes": [
                (each, [to_reader(words, inch=inch) for words in each.words])
                for each in likenesses(found)
            ],
            "places": nest_places(found),
            "lines": part_lines(found),
            "runs": runs,
            "piece": per_piece(runs),
            "checks": part_checks([each.run for each in runs]),
            "sees_cost": may(request.user, COST),
            "may_plan": may(request.user, PLAN),
        },
    )


class _Name(forms.Form):
    name = forms.CharField(max_length=80)


@right(PLAN)
@require_POST
def act(request: DeskRequest, pk: int) -> HttpResponse:
    """Name it, or say whether a part is a later revision of another."""
    found = get_object_or_404(KnownPart, pk=pk)
    try:
        if request.POST.get("do") == "name":
            form = _Name(request.POST)
            if form.is_valid():
                part_rename(part=found, name=form.cleaned_data["name"])
            else:
                messages.error(request, _("It needs a name of at most 80 characters."))
        elif like := _like(request, found):
            likeness_answer(like=like, answer=request.POST.get("answer", ""), by=request.user)
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    return redirect("known_part", found.pk)


def _like(request: DeskRequest, part: KnownPart) -> LikePart | None:
    pk = row_number(request.POST.get("like", "")) or 0
    return (
        LikePart.objects.filter(pk=pk).filter(part=part).first()
        or LikePart.objects.filter(pk=pk, older=part).first()
    )
