"""Reading a drawing in: choose the file, see what it says, change how it is read, keep it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from planning.calc import drawing as calc
from planning.calc.said import to_reader, told
from shopfloor.drawings.queries import drawing_map, layer_words, newest_drawing
from shopfloor.drawings.services import (
    MAX_DRAWING_BYTES,
    contour_rows,
    drawing_add,
    drawing_bytes,
    drawing_read,
    drawing_revise,
    layer_rows,
)
from shopfloor.files.apart import TooCostly
from shopfloor.files.uploads import upload_keep, upload_read
from shopfloor.models import Drawing, DrawingRevision, Material, Units
from shopfloor.web.access import PLAN, DeskRequest, right
from shopfloor.web.forms import LengthField, attempt, read_in, upload_bytes

UNITS = [("", _lazy("as the file says")), *((unit, unit) for unit in calc.UNITS_MM)]
ROLE = "role:"


class ReadForm(forms.Form):
    file = forms.FileField(
        label=_lazy("Drawing"), help_text=_lazy("DXF, any release"), required=False
    )
    unit = forms.ChoiceField(choices=UNITS, required=False, label=_lazy("Drawn in"))
    gap_mm = LengthField(
        min_value=0, max_value=5, initial=calc.GAP_MM, label=_lazy("Join gaps up to")
    )
    digest = forms.CharField(widget=forms.HiddenInput(), required=False)
    file_name = forms.CharField(max_length=160, widget=forms.HiddenInput(), required=False)

    def __init__(self, *args: Any, inch: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        read_in(self, inch=inch)
        self.raw: bytes | None = None
        self.read: calc.Drawing | None = None
        self.layers: tuple[calc.Layer, ...] = ()  # to choose from, where nothing is read of any

    def clean(self) -> dict[str, Any]:
        """Reads the drawing as it is to be read; what is wrong with it stands beside its field."""
        said = dict(super().clean() or {})
        self.raw = upload_read(said.get("digest", ""), "drawing")
        if self.raw is None:
            if not self.has_error("file"):
                self.add_error("file", _("Choose a drawing."))
            return said
        if self.errors:
            return said
        try:
            self.read = drawing_read(self.raw, self.reading(said))
        except calc.UnitUnknown as problem:
            self.add_error("unit", to_reader(problem.message, inch=False))
        except calc.DrawingError as problem:
            self.layers = problem.layers if isinstance(problem, calc.NothingUsed) else ()
            place = f"{said['file_name']}:{problem.place or 1}: "
            self.add_error("file", place + to_reader(problem.message, inch=False))
        except TooCostly as problem:
            self.add_error("file", f"{said['file_name']}: {to_reader(told(problem), inch=False)}")
        return said

    def reading(self, said: dict[str, Any]) -> calc.Reading:
        roles: dict[str, calc.Role] = {
            name.removeprefix(ROLE): role
            for name in self.data
            if name.startswith(ROLE)
            for role in calc.ROLES
            if role == self.data[name]
        }
        return calc.Reading(unit=said["unit"] or None, roles=roles, gap_mm=said["gap_mm"])


class NewForm(ReadForm):
    name = forms.CharField(max_length=80, help_text=_lazy("The part, or the drawing's number"))
    material = forms.ModelChoiceField(Material.objects.all(), empty_label=_lazy("choose"))
    thickness_text = forms.CharField(
        max_length=40, label=_lazy("Thickness"), help_text=_lazy("16 ga, 1/4 in, 6 mm")
    )
    field_order = ["file", "name", "material", "thickness_text", "unit", "gap_mm"]


def _with_upload(request: DeskRequest) -> tuple[QueryDict, str]:
    """The form's data with the file, if one came, kept by its hash; and why it was not kept."""
    data = request.POST.copy()
    upload = request.FILES.get("file")
    if upload is None or isinstance(upload, list):
        return data, ""
    try:
        data["digest"] = upload_keep(upload_bytes(upload, MAX_DRAWING_BYTES), "drawing")
    except ValidationError as problem:
        data["digest"] = ""
        return data, " ".join(problem.messages)
    data["file_name"] = (upload.name or "drawing.dxf")[:160]
    return data, ""


def _page(request: DeskRequest, form: ReadForm, **more: Any) -> HttpResponse:
    read = form.read
    shown: dict[str, Any] = {
        "layers": layer_words(layer_rows(read.layers if read else form.layers)),
        "roles": calc.ROLES,
    }
    if read is not None:
        width_mm, height_mm = read.size_mm
        shown |= {
            "read": read,
            "map": drawing_map(contour_rows([*read.contours, *read.marks])),
            "width_mm": width_mm,
            "height_mm": height_mm,
        }
    return render(
        request, "drawings/drawing_read.html", {"form": form, **shown, **more}
    )  # fmt: skip


@right(PLAN)
def add(request: DeskRequest) -> HttpResponse:
    inch = request.user.units == Units.INCH
    if request.method != "POST":
        return _page(request, NewForm(inch=inch), heading=_("A new drawing"), back="drawings")
    data, refused = _with_upload(request)
    form = NewForm(data, inch=inch)
    if refused:
        form.add_error("file", refused)
    raw, read = (form.raw, form.read) if form.is_valid() else (None, None)
    if raw is not None and read is not None and request.POST.get("do") == "keep":
        said, made = form.cleaned_data, []
        written = attempt(
            form,
            lambda: made.append(
                drawing_add(
                    name=said["name"], file_name=said["file_name"], raw=raw, read=read,
                    material=said["material"], thickness_text=said["thickness_text"],
                    reading=form.reading(said), by=request.user,
                )
            ),
        )  # fmt: skip
        if written:
            return redirect("drawing", made[0].pk)
    return _page(request, form, heading=_("A new drawing"), back="drawings")


@right(PLAN)
def revise(request: DeskRequest, pk: int) -> HttpResponse:
    """Another file, or the same read in another way; roles chosen before are offered again."""
    found = get_object_or_404(Drawing, pk=pk)
    inch = request.user.units == Units.INCH
    about = {"heading": found.name, "sub": _("another file, or read another way"),
             "back": "drawing", "back_pk": pk}  # fmt: skip
    last = newest_drawing(found)
    if request.method != "POST":
        return _page(request, _as_it_was(last, inch=inch), **about)
    data, refused = _with_upload(request)
    form = ReadForm(data, inch=inch)
    if refused:
        form.add_error("file", refused)
    raw, read = (form.raw, form.read) if form.is_valid() else (None, None)
    if raw is not None and read is not None and request.POST.get("do") == "keep":
        said = form.cleaned_data
        revision, new = drawing_revise(
            drawing=found, file_name=said["file_name"], raw=raw, read=read,
            reading=form.reading(said), by=request.user,
        )  # fmt: skip
        messages.success(
            request,
            _("Revision {revision} is kept.").format(revision=revision.revision)
            if new
            else _("The same file read in the same way: nothing changed."),
        )
        return redirect("drawing", pk)
    return _page(request, form, **about)


def _as_it_was(last: DrawingRevision | None, *, inch: bool) -> ReadForm:
    """The form read as the newest revision was; an empty one where its file is gone."""
    if last is None:
        return ReadForm(inch=inch)
    try:
        digest = upload_keep(drawing_bytes(last), "drawing")
    except ValidationError:
        return ReadForm(inch=inch)
    roles = {f"{ROLE}{name}": role for name, role in last.roles.items()}
    unit = "" if last.unit_said else last.unit
    known = {"digest": digest, "file_name": last.file_name, "unit": unit, "gap_mm": last.gap_mm}
    form = ReadForm(known | roles, inch=inch)
    form.is_valid()
    return form
