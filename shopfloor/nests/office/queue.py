"""Each table's list: what is burnt next."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from planning.calc.said import in_units, stored
from shopfloor.models import Nest, QueueItem, Sheet, Table, Units, User
from shopfloor.nests.queries import (
    newest_revision,
    queue_by_table,
    queue_sums,
    revision_contours,
    sheets_for,
)
from shopfloor.nests.queue import queue_add_several, queue_drop, queue_first, queue_move
from shopfloor.nests.warnings import beyond_sheet
from shopfloor.wear.queue_need import QueueNeed, queue_needs
from shopfloor.web.access import ANY, PLAN, DeskRequest, may, right
from shopfloor.web.forms import WhenField, attempt
from shopfloor.wording.lengths import size


class QueueForm(forms.Form):
    table = forms.ModelChoiceField(Table.objects.filter(active=True), empty_label=_lazy("choose"))
    sheet = forms.ChoiceField(
        required=False,
        help_text=_lazy(
            "In stock, the nest’s material and about its thickness, not promised elsewhere"
        ),
    )
    times = forms.IntegerField(
        min_value=1, max_value=200, label=_lazy("How many times"),
        help_text=_lazy("Each on a sheet of its own; with a sheet chosen, on others like it"),
    )  # fmt: skip
    due_at = WhenField(required=False, label=_lazy("Due"))

    def __init__(self, nest: Nest, user: User, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheets = {str(sheet.pk): sheet for sheet in sheets_for(nest)}
        sheet = self.fields["sheet"]
        if isinstance(sheet, forms.ChoiceField):
            words = [(pk, _sheet_words(found, user)) for pk, found in self.sheets.items()]
            sheet.choices = [("", _("chosen at the table")), *words]

    def clean_sheet(self) -> Sheet | None:
        return self.sheets.get(self.cleaned_data["sheet"])

    def values(self) -> dict[str, Any]:
        """The chosen sheet, then those like it."""
        told = dict(self.cleaned_data)
        sheet = told.pop("sheet")
        if sheet is not None:
            alike = [one for one in self.sheets.values() if _alike(one, sheet)]
            told["sheets"] = sorted(alike, key=lambda one: (one.pk != sheet.pk, one.code))
        return told


def _alike(one: Sheet, other: Sheet) -> bool:
    names = ("thickness_mm", "length_mm", "width_mm", "area_mm2", "owner_id")
    return all(getattr(one, name) == getattr(other, name) for name in names)


def _sheet_words(sheet: Sheet, user: User) -> str:
    said = [
        f"{sheet.code}: {size(sheet.length_mm, user)} × {size(sheet.width_mm, user)}",
        sheet.thickness_text,
    ]
    if sheet.heat is not None:
        said.append(_("heat {heat}").format(heat=sheet.heat.number))
    if sheet.owner is not None:
        said.append(_("{owner}’s").format(owner=sheet.owner.name))
    return ", ".join(said)


@right(*ANY)
def queue(request: DeskRequest) -> HttpResponse:
    needs: dict[int, list[QueueNeed]] = defaultdict(list)
    for need in queue_needs():
        needs[need.table_id].append(need)
    tables = [(*one, needs[one[0].pk]) for one in queue_sums(queue_by_table())]
    return render(
        request, "nests/queue.html", {"tables": tables, "may_plan": may(request.user, PLAN)}
    )


@right(PLAN)
def put(request: DeskRequest, pk: int) -> HttpResponse:
    nest = get_object_or_404(Nest.objects.select_related("material"), pk=pk)
    form = QueueForm(nest, request.user, request.POST or None, initial=_initial(nest))
    if (
        request.method == "POST"
        and form.is_valid()
        and attempt(form, lambda: queue_add_several(nest=nest, **form.values()))
    ):
        told = form.cleaned_data
        words = ngettext(
            "{nest} waits on {table}.", "{nest} waits {times} times on {table}.", told["times"]
        )
        messages.success(
            request,
            words.format(nest=nest.name, times=told["times"], table=told["table"]),
        )
        _say_beyond(request, nest, form.cleaned_data["sheet"])
        return redirect("queue")
    return render(
        request, "web/form.html",
        {"form": form, "heading": nest.name, "sub": _("into a table’s queue"),
         "submit": _("Put it in the queue"), "back": "nest", "back_pk": pk},
    )  # fmt: skip


def _initial(nest: Nest) -> dict[str, Any]:
    """As many as are wanted and neither wait, burn nor are done."""
    there = nest.queue.exclude(state="dropped").count()
    return {"table": nest.table_id, "times": max(1, nest.sheets_wanted - there)}


def _say_beyond(request: DeskRequest, nest: Nest, sheet: Sheet | None) -> None:
    """Parts beyond the sheet are said, not refused: sheets are measured by hand."""
    revision = newest_revision(nest)
    if sheet is None or revision is None:
        return
    for note in beyond_sheet(revision_contours(revision), sheet)[:3]:
        text = in_units(stored(note.text), inch=request.user.units == Units.INCH)
        messages.warning(request, f"{revision.file_name}:{note.line}: {text}.")


@right(PLAN)
@require_POST
def act(request: DeskRequest, pk: int) -> HttpResponse:
    item = get_object_or_404(QueueItem, pk=pk)
    what = request.POST.get("do", "")
    try:
        if what in ("up", "down"):
            queue_move(item=item, up=what == "up")
        elif what == "first":
            queue_first(item=item)
        elif what == "drop":
            queue_drop(item=item)
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    return redirect("queue")
