"""A list of parts from several drawings: brought, looked at, corrected, kept, then quoted."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.drawing import DrawingError
from shopfloor.drawings.bring import MOST_BYTES, MOST_FILES, Brought, bring, drawings_read
from shopfloor.drawings.office.parts_forms import (
    DEFAULTS,
    PREFIX,
    BringForm,
    PartForm,
    PartsFormSet,
    rows_of,
)
from shopfloor.drawings.parts import parts_keep
from shopfloor.drawings.queries import small_map
from shopfloor.files.uploads import upload_read
from shopfloor.models import Drawing, Material
from shopfloor.web.access import COST, MARGIN, PLAN, QUOTES, DeskRequest, may, right
from shopfloor.wording.numbers_in import row_number


@right(PLAN)
def parts_list(request: DeskRequest) -> HttpResponse:
    if request.method != "POST":
        return _page(request, BringForm(), None, [])
    about = BringForm(request.POST)
    about.is_valid()
    data, brought = _with_files(request)
    formset = PartsFormSet(data, prefix=PREFIX, form_kwargs={"materials": _materials()})
    lines = brought.lines
    if not formset.management_form.is_valid():
        return _page(request, about, None, [_("The list came incomplete: bring the files again.")])
    _read_all(formset.forms)
    if not formset.forms and not lines:
        about.add_error("drawings", _("Choose drawings."))
    if formset.forms and formset.is_valid() and request.POST.get("do") == "keep":
        kept = _keep(request, formset.forms, lines)
        if kept:
            return _onwards(request, formset.forms, kept)
    return _page(request, about, formset, lines)


def _materials() -> list[Material]:
    return list(Material.objects.all())


def _with_files(request: DeskRequest) -> tuple[QueryDict, Brought]:
    """The form's data with a line for each drawing that came; what a line does not say is as it is
    for all."""
    data = request.POST.copy()
    had = min(row_number(data.get(f"{PREFIX}-TOTAL_FORMS", "0")) or 0, MOST_FILES)
    brought = bring(request.FILES.getlist("drawings"), had=had)
    refused = [each for each in brought.parts if not each.digest]
    brought.lines += [f"{each.file_name}: {each.problem}." for each in refused]
    found = [each for each in brought.parts if each.digest]
    for key, value in rows_of(found, had).items():
        data[key] = value
    for name in DEFAULTS:
        for number in range(had + len(found)):
            if not data.get(f"{PREFIX}-{number}-{name}"):
                data[f"{PREFIX}-{number}-{name}"] = data.get(name, "")
    data[f"{PREFIX}-TOTAL_FORMS"] = str(had + len(found))
    data[f"{PREFIX}-INITIAL_FORMS"] = "0"
    return data, brought


def _read_all(forms: list[PartForm]) -> None:
    """Reads each line's drawing as its line says, up to a limit of bytes for all: lines gather over
    several forms."""
    left = MOST_BYTES
    for form in forms:
        form.raw = upload_read(form.value("digest"), "drawing")
        if form.raw is None:
            form.problem = DrawingError(_("Its bytes are no longer here: bring it again."))
        elif len(form.raw) > left:
            form.raw = None
            form.problem = DrawingError(
                _("The drawings before it are all that is taken at once: bring it next.")
            )
        else:
            left -= len(form.raw)
    held = [(form, form.raw, form.reading()) for form in forms if form.raw is not None]
    read = drawings_read([(raw, reading) for _form, raw, reading in held])
    for (form, _raw, _reading), found in zip(held, read, strict=True):
        if isinstance(found, ValueError):
            form.problem = found
        else:
            form.read = found


def _keep(
    request: DeskRequest, forms: list[PartForm], lines: list[str]
) -> list[tuple[Drawing, int]]:
    parts = [form.part for form in forms if form.part is not None]
    if not parts:
        lines.append(_("No part is taken."))
        return []
    try:
        return parts_keep(parts=parts, by=request.user)
    except ValidationError as problem:
        lines += problem.messages
    except IntegrityError:
        lines.append(_("Somebody kept a drawing of one of these names just now: look again."))
    return []


def _onwards(
    request: DeskRequest, forms: list[PartForm], kept: list[tuple[Drawing, int]]
) -> HttpResponse:
    """To the quote of these parts; to the drawings where the person makes no quotes."""
    left = [form.value("file_name") for form in forms if form.part is None]
    told = ngettext("{n} part is kept.", "{n} parts are kept.", len(kept)).format(n=len(kept))
    if left:
        told += " " + _("Left out: {files}.").format(files=", ".join(left))[:1000]
    messages.success(request, told)
    quotes = may(request.user, QUOTES) or (may(request.user, COST) and may(request.user, MARGIN))
    try:
        address = reverse("quote_parts")
    except NoReverseMatch:
        quotes = False
    if not quotes:
        return redirect("drawings")
    return redirect(address + "?" + urlencode([("part", f"{d.pk}.{n}") for d, n in kept]))


def _page(request: DeskRequest, about: BringForm, formset: Any, lines: list[str]) -> HttpResponse:
    forms = formset.forms if formset is not None else []
    rows = [form for form in forms if form.read is not None or form.mendable]
    ready = sum(form.part is not None for form in rows)
    return render(
        request,
        "drawings/parts_list.html",
        {
            "about": about,
            "formset": formset,
            "lines": lines,
            "rows": [(form, small_map(form.read)) for form in rows],
            "unread": [form for form in forms if form.read is None and not form.mendable],
            "ready": ready,
            "wanting": sum(bool(form.errors) for form in rows),
        },
    )
