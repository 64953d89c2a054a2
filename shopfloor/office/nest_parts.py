"""Which job line each part of a nest is for."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render

from shopfloor.models import JobLine, Nest
from shopfloor.office.access import PLAN, DeskRequest, right
from shopfloor.office.forms import attempt
from shopfloor.partsmap import parts_map
from shopfloor.selectors.nests import (
    GroupRow,
    group_rows,
    lines_for,
    map_parts,
    newest_revision,
    revision_contours,
)
from shopfloor.services.nest_ties import nest_tie, revision_groups

NONE = ("", "no job")
WORDS = {"line": "Job line of", "count": "How many of", "rest": "Job line of the rest of"}


class TieForm(forms.Form):
    """For each group of copies: a line, how many of them, and a line for the rest."""

    def __init__(
        self, groups: list[GroupRow], lines: dict[int, JobLine], data: QueryDict | None
    ) -> None:
        self.groups, self.lines = groups, lines
        super().__init__(data, initial=self._now())
        choices = [NONE, *((str(pk), _line_words(line)) for pk, line in lines.items())]
        for row in groups:
            label = row.group.label
            self.fields[f"line_{label}"] = forms.ChoiceField(choices=choices, required=False)
            self.fields[f"count_{label}"] = forms.IntegerField(
                min_value=1, max_value=row.copies, required=False
            )
            self.fields[f"rest_{label}"] = forms.ChoiceField(choices=choices, required=False)
            for name, words in WORDS.items():
                said = f"{words} shape {label}"
                self.fields[f"{name}_{label}"].widget.attrs["aria-label"] = said

    def _now(self) -> dict[str, Any]:
        now: dict[str, Any] = {}
        for row in self.groups:
            label = row.group.label
            tied = [(line, count) for line, count in row.tied if line is not None]
            if tied:
                now[f"line_{label}"] = tied[0][0].pk
                now[f"count_{label}"] = tied[0][1] if tied[0][1] < row.copies else None
            if len(tied) > 1:
                now[f"rest_{label}"] = tied[1][0].pk
        return now

    def ties(self) -> dict[str, list[tuple[JobLine | None, int | None]]]:
        found: dict[str, list[tuple[JobLine | None, int | None]]] = {}
        for row in self.groups:
            label = row.group.label
            line = self._line(f"line_{label}")
            found[label] = [
                (line, self.cleaned_data[f"count_{label}"] if line else 0),
                (self._line(f"rest_{label}"), None),
            ]
        return found

    def _line(self, name: str) -> JobLine | None:
        chosen = self.cleaned_data[name]
        return self.lines.get(int(chosen)) if chosen else None

    def rows(self) -> list[tuple[GroupRow, forms.BoundField, forms.BoundField, forms.BoundField]]:
        return [
            (
                row,
                self[f"line_{row.group.label}"],
                self[f"count_{row.group.label}"],
                self[f"rest_{row.group.label}"],
            )
            for row in self.groups
        ]


def _line_words(line: JobLine) -> str:
    return f"{line.job.number} / {line.number}: {line.quantity} {line.part}"


@right(PLAN)
def parts(request: DeskRequest, pk: int) -> HttpResponse:
    nest = get_object_or_404(Nest.objects.select_related("material"), pk=pk)
    revision = newest_revision(nest)
    if revision is None:
        raise Http404
    contours = revision_contours(revision)
    groups = group_rows(revision_groups(contours), contours)
    tied = [contour.line_id for contour in contours if contour.line_id is not None]
    lines = {line.pk: line for line in lines_for(nest, tied)}
    form = TieForm(groups, lines, request.POST or None)
    if (
        request.method == "POST"
        and form.is_valid()
        and attempt(form, lambda: nest_tie(revision=revision, ties=form.ties()))
    ):
        messages.success(request, "The parts are tied.")
        return redirect("nest", nest.pk)
    drawn = map_parts(contours)
    return render(
        request,
        "kerfbook/office/nest_parts.html",
        {
            "nest": nest, "revision": revision, "form": form, "lines": lines,
            "map": parts_map(drawn, width=860, font_px=15) if drawn else None,
        },
    )  # fmt: skip
