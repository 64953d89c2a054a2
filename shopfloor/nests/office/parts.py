"""Which job line each part of a nest is for."""

from __future__ import annotations

import json
from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import JobLine, Nest, NestRevision
from shopfloor.nests.part_lines import assign_parts_to_lines, revision_groups
from shopfloor.nests.queries import (
    GroupRow,
    group_rows,
    lines_for,
    map_parts,
    newest_revision,
    revision_contours,
)
from shopfloor.svg.parts_map import parts_map
from shopfloor.web.access import PLAN, DeskRequest, right
from shopfloor.web.edit_conflicts import Difference, settled
from shopfloor.web.forms import attempt
from shopfloor.wording.numbers_in import row_number

NONE = ("", N_("no job"))
WORDS = {
    "line": N_("Job line of shape {label}"),
    "count": N_("How many of shape {label}"),
    "rest": N_("Job line of the rest of shape {label}"),
}


class TieForm(forms.Form):
    """For each group of copies: a line, how many of them, and a line for the rest."""

    def __init__(
        self, groups: list[GroupRow], lines: dict[int, JobLine], data: QueryDict | None
    ) -> None:
        self.groups, self.lines = groups, lines
        super().__init__(data, initial=self._suggested() | self._now())
        choices = [
            (NONE[0], _(NONE[1])),
            *((str(pk), _line_words(line)) for pk, line in lines.items()),
        ]
        for row in groups:
            label = row.group.label
            self.fields[f"line_{label}"] = forms.ChoiceField(choices=choices, required=False)
            self.fields[f"count_{label}"] = forms.IntegerField(
                min_value=1, max_value=row.copies, required=False
            )
            self.fields[f"rest_{label}"] = forms.ChoiceField(choices=choices, required=False)
            for name, words in WORDS.items():
                said = _(words).format(label=label)
                self.fields[f"{name}_{label}"].widget.attrs["aria-label"] = said
                self.fields[f"{name}_{label}"].label = said

    def _suggested(self) -> dict[str, Any]:
        """Of one shape and one line that fits, nobody has a choice to make."""
        if len(self.groups) != 1 or len(self.lines) != 1:
            return {}
        return {f"line_{self.groups[0].group.label}": next(iter(self.lines))}

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

    def seen(self) -> str:
        """What the page shows, as it comes back with what is sent."""
        return json.dumps({name: str(value or "") for name, value in self._now().items()})

    def differences(self, seen: dict[str, str]) -> list[Difference]:
        """Where what stands now is not what the page showed."""
        now = self._now()
        found = []
        for kind in WORDS:
            for row in self.groups:
                name = f"{kind}_{row.group.label}"
                was, stands = seen.get(name, ""), str(now.get(name) or "")
                if was != stands:
                    was_said, stands_said = self._said(kind, was), self._said(kind, stands)
                    before, after = self._typed(kind, was), self._typed(kind, stands)
                    found.append(Difference(name, before, after, was_said, stands_said))
        return found

    @staticmethod
    def _typed(kind: str, text: str) -> str | int | None:
        """As the field of that kind reads it."""
        if kind != "count":
            return text
        return int(text) if text else None

    def _said(self, kind: str, value: str) -> str:
        if kind == "count":
            return value or "all"
        line = self.lines.get(int(value)) if value else None
        return _line_words(line) if line else _("no job")

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


def _seen(request: DeskRequest) -> dict[str, str] | None:
    """What the page showed when it was opened; None where it does not say."""
    try:
        found = json.loads(request.POST.get("seen", ""))
    except (ValueError, RecursionError):  # the latter where brackets open by the thousand
        return None
    if not isinstance(found, dict):
        return None
    return {str(name): str(value) for name, value in found.items() if row_number(str(value))}


@right(PLAN)
def parts(request: DeskRequest, pk: int) -> HttpResponse:
    nest = get_object_or_404(Nest.objects.select_related("material"), pk=pk)
    if request.method != "POST":
        return _parts(request, nest)
    with transaction.atomic():  # what is compared stays as it is until it is written
        Nest.objects.select_for_update().get(pk=pk)
        return _parts(request, nest)


def _parts(request: DeskRequest, nest: Nest) -> HttpResponse:
    revision = newest_revision(nest)
    if revision is None:
        raise Http404
    if request.POST.get("revision", str(revision.pk)) != str(revision.pk):
        said = _("Revision {revision} was read in after you opened this page, so nothing").format(
            revision=revision.revision
        )
        messages.error(request, _("{said} was tied. These are its parts.").format(said=said))
        return redirect("nest_parts", nest.pk)
    contours = revision_contours(revision)
    groups = group_rows(revision_groups(contours), contours)
    tied = [contour.line_id for contour in contours if contour.line_id is not None]
    lines = {line.pk: line for line in lines_for(nest, tied)}
    form = TieForm(groups, lines, request.POST or None)
    if request.method == "POST" and form.is_valid() and _tied(request, form, revision):
        messages.success(request, _("The parts are tied."))
        return redirect("nest", nest.pk)
    drawn = map_parts(contours)
    return render(
        request,
        "nests/part_lines.html",
        {
            "nest": nest, "revision": revision, "form": form, "lines": lines, "seen": form.seen(),
            "map": parts_map(drawn, width=860, font_px=15) if drawn else None,
        },
    )  # fmt: skip


def _tied(request: DeskRequest, form: TieForm, revision: NestRevision) -> bool:
    """Ties the parts unless somebody tied them otherwise since the page was opened."""
    seen = _seen(request)
    if seen is not None and settled(form, _("Somebody else tied these"), form.differences(seen)):
        return False
    return attempt(form, lambda: assign_parts_to_lines(revision=revision, ties=form.ties()))
