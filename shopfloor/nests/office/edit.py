"""Bringing programs in, tying their parts to job lines, changing a nest's route."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST

from planning.calc.program import ProgramError
from planning.calc.said import to_reader
from shopfloor.audit.row_versions import version_of
from shopfloor.background.plans import request_plan
from shopfloor.models import Incoming, Material, Nest, NestRevision, Table, Units, WearSet
from shopfloor.nests.long_files import LONG_PROGRAM_BYTES, incoming_add
from shopfloor.nests.queries import newest_revision
from shopfloor.nests.services import (
    MAX_PROGRAM_BYTES,
    nest_add,
    nest_edit,
    nest_withdraw,
    program_read,
    revision_add,
)
from shopfloor.runs.usual import nest_usual
from shopfloor.web.access import PLAN, DeskRequest, right
from shopfloor.web.edit_conflicts import newer, saved_unless_changed
from shopfloor.web.forms import LENGTH_UNITS, attempt, refused, to_mm, upload_bytes
from shopfloor.wording.clock import when
from shopfloor.wording.numbers_in import row_number

SAID = {
    "nothing": N_("The very same bytes: nothing changed."),
    "comment": N_("Only comments changed: setup sheets stay good."),
    "path": N_("The path changed: setup sheets of the revision before are void. Check the parts."),
}


class RouteForm(forms.Form):
    wear_set = forms.ModelChoiceField(
        WearSet.objects.filter(active=True), label=_lazy("Set"), empty_label=_lazy("choose")
    )
    table = forms.ModelChoiceField(
        Table.objects.filter(active=True), required=False, empty_label=_lazy("not chosen yet")
    )
    sheets_wanted = forms.IntegerField(min_value=1, max_value=999, initial=1, label=_lazy("Sheets"))


class NestForm(RouteForm):
    file = forms.FileField(
        label=_lazy("Cut program"), help_text=_lazy("RS-274 / ISO 6983, as the table reads it")
    )
    name = forms.CharField(max_length=80, required=False, help_text=_lazy("Blank: the file's name"))
    material = forms.ModelChoiceField(Material.objects.all(), empty_label=_lazy("choose"))
    thickness_text = forms.CharField(
        max_length=40, label=_lazy("Thickness"), help_text=_lazy("16 ga, 1/4 in, 6 mm")
    )
    sheet_length = forms.DecimalField(
        min_value=0, max_value=100_000, required=False, label=_lazy("Sheet, along X"),
        help_text=_lazy("what it was laid out on; what is beyond it is named"),
    )  # fmt: skip
    sheet_width = forms.DecimalField(
        min_value=0, max_value=100_000, required=False, label=_lazy("and along Y")
    )
    sheet_unit = forms.ChoiceField(choices=LENGTH_UNITS, label=_lazy("in"))
    field_order = ["file", "name", "material", "thickness_text", "wear_set", "table"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sheet_unit"].required = False

    def values(self) -> dict[str, Any]:
        told = self.cleaned_data
        unit = told["sheet_unit"] or "mm"
        sides = {f"sheet_{side}_mm": told[f"sheet_{side}"] for side in ("length", "width")}
        plain = ("material", "thickness_text", "wear_set", "table", "sheets_wanted")
        return {name: told[name] for name in plain} | {
            name: to_mm(side, unit) if side else None for name, side in sides.items()
        }


class ProgramForm(forms.Form):
    file = forms.FileField(label=_lazy("Cut program"))


def _read(form: forms.Form, write: Any) -> bool:
    """Runs a write of the uploaded program; faults in it are named by file and line."""
    upload: UploadedFile[bytes] = form.cleaned_data["file"]
    try:
        raw = upload_bytes(upload, MAX_PROGRAM_BYTES)
        return attempt(form, lambda: write(upload.name or "program", raw))
    except ProgramError as problem:
        form.add_error(
            "file", f"{upload.name}:{problem.line}: {to_reader(problem.message, inch=False)}"
        )
    except ValidationError as problem:
        refused(form, problem)
    return False


def _taken(
    request: DeskRequest, form: NestForm | ProgramForm, nest: Nest | None = None
) -> Incoming | None:
    """A long program goes in beside the pages; None for a short one, or one too long."""
    upload: UploadedFile[bytes] = form.cleaned_data["file"]
    if not LONG_PROGRAM_BYTES < (upload.size or 0) <= MAX_PROGRAM_BYTES:
        return None
    file_name = upload.name or "program"
    if isinstance(form, NestForm):
        keys = ("material", "wear_set", "table")
        values = form.values()
        options = values | {name: values[name] and values[name].pk for name in keys}
        options["name"] = form.cleaned_data["name"] or file_name[:80]
    else:
        options = {"nest": nest.pk if nest else None}
    return incoming_add(
        kind="program", name=file_name, raw=bytes(upload.read()), options=options, by=request.user
    )


@right(PLAN)
def add(request: DeskRequest) -> HttpResponse:
    unit = "in" if request.user.units == Units.INCH else "mm"
    initial = {"sheet_unit": unit, **nest_usual()}
    form = NestForm(request.POST or None, request.FILES or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        if (taken := _taken(request, form)) is not None:
            return redirect("incoming", taken.pk)
        made: list[Nest] = []
        values = form.values()

        def write(file_name: str, raw: bytes) -> None:
            name = form.cleaned_data["name"] or file_name[:80]
            made.append(
                nest_add(
                    name=name,
                    file_name=file_name,
                    raw=raw,
                    by=request.user,
                    program=program_read(raw, values["table"]),
                    **values,
                )
            )

        if _read(form, write):
            return redirect("nest_parts", made[0].pk)
    return render(
        request,
        "web/form.html",
        {
            "form": form,
            "heading": _("A new nest"),
            "submit": _("Read the program"),
            "back": "nests",
        },
    )


@right(PLAN)
def revise(request: DeskRequest, pk: int) -> HttpResponse:
    nest = get_object_or_404(Nest.objects.select_related("table"), pk=pk)
    newest = newest_revision(nest)
    form = ProgramForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid() and not _read_since(request, form, newest):
        if (taken := _taken(request, form, nest=nest)) is not None:
            return redirect("incoming", taken.pk)
        changed: list[str] = []

        def write(file_name: str, raw: bytes) -> None:
            changed.append(
                revision_add(
                    nest=nest,
                    file_name=file_name,
                    raw=raw,
                    by=request.user,
                    program=program_read(raw, nest.table),
                )[1]
            )

        if _read(form, write):
            messages.success(request, _(SAID[changed[0]]))
            return redirect("nest_parts" if changed[0] == "path" else "nest", nest.pk)
    return render(
        request, "web/form.html",
        {"form": form, "heading": nest.name, "sub": _("a new revision of its program"),
         "submit": _("Read the program"), "back": "nest", "back_pk": pk,
         "seen": newest.pk if newest else None},
    )  # fmt: skip


def _read_since(request: DeskRequest, form: ProgramForm, newest: NestRevision | None) -> bool:
    """Whether somebody read another program in since the page was opened; then it is said first."""
    seen = row_number(request.POST.get("seen"))
    if newest is None or seen is None or seen == newest.pk:
        return False
    said = _(
        "{shown_name} read {file_name} in as revision {revision} {made_at}, "
        "after you opened this page. Yours is not read yet: look at that one, "
        "then choose your file again to make it the next revision."
    ).format(
        shown_name=newest.made_by.shown_name,
        file_name=newest.file_name,
        revision=newest.revision,
        made_at=when(newest.made_at),
    )
    form.add_error(None, said)
    return True


@right(PLAN)
def edit(request: DeskRequest, pk: int) -> HttpResponse:
    seen = version_of(Nest, pk)
    nest = get_object_or_404(Nest, pk=pk)
    known = {"wear_set": nest.wear_set_id, "table": nest.table_id,
             "sheets_wanted": nest.sheets_wanted}  # fmt: skip
    form = RouteForm(request.POST or None, initial=known)
    if (
        request.method == "POST"
        and form.is_valid()
        and saved_unless_changed(
            request, form, nest, lambda: nest_edit(nest=nest, **form.cleaned_data)
        )
    ):
        return redirect("nest", nest.pk)
    return render(
        request, "web/form.html",
        {"form": form, "heading": nest.name, "sub": _("set, table, sheets"),
         "submit": _("Keep and plan again"), "back": "nest", "back_pk": pk, "seen": seen},
    )  # fmt: skip


@right(PLAN)
@require_POST
def act(request: DeskRequest, pk: int) -> HttpResponse:
    """Withdraw it, plan it anew, or take the set of another row of the comparison."""
    nest = get_object_or_404(Nest, pk=pk)
    what = request.POST.get("do", "")
    try:
        if what == "withdraw":
            nest_withdraw(nest=nest)
        elif what == "plan":
            request_plan(nest=nest)
        elif what == "route" and (since := newer(request, nest)) is not None:
            said = _("{who} changed this nest {at}, after you opened the page.").format(
                who=since.who, at=when(since.at)
            )
            messages.error(
                request,
                _("{said} Nothing of yours is kept: look, then take the set.").format(said=said),
            )
        elif what == "route":
            form = RouteForm({**request.POST.dict(), "sheets_wanted": nest.sheets_wanted})
            if form.is_valid():
                nest_edit(nest=nest, **form.cleaned_data)
                messages.success(
                    request, _("Planned on {wear_set} from now on.").format(wear_set=nest.wear_set)
                )
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    return redirect("nest", nest.pk)
