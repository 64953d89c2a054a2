"""Job lists as files: preview, then exactly what was previewed."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from shopfloor.counting import count
from shopfloor.importing.job_rows import COLUMNS, DATE_ORDERS, NEEDED
from shopfloor.importing.stored import upload_keep, upload_read
from shopfloor.importing.table import ENCODINGS, MAX_BYTES, ListError
from shopfloor.office.access import PLAN, DeskRequest, right
from shopfloor.office.forms import refused, upload_bytes
from shopfloor.services.imports import import_apply, import_plan
from shopfloor.services.incoming import LONG_LIST_BYTES, LONG_LIST_ROWS, incoming_add

MEANS = {
    "job": "the order's number; rows of one job share it",
    "customer": "on the first row of a job; a new name makes a new customer",
    "title": "what it is, on the first row of a job",
    "due": "2026-10-08 or 2026-10-08 13:30, on the shop's clock; a date alone means by its end",
    "line": "a number; left out, lines count as they come",
    "part": "the part's name or drawing",
    "quantity": "whole parts",
    "material": "a material of the shop, as under Materials",
    "thickness": "as typed: 16 ga, 1/4 in, 6 mm",
    "asked u range": "1 to 5 of ISO 9013 where the drawing asks one",
    "next step": "weld, bend, machine, coat, ship",
    "must be fine": "yes or no",
    "quote": "for the whole job: 1250.00",
}
ORDERS = {"none": "do not occur", "month": "mean 8 October", "day": "mean 10 August"}
CODES = {"utf-8": "UTF-8", "cp1252": "Windows-1252"}


class UploadForm(forms.Form):
    file = forms.FileField(label="Job list", help_text="CSV (comma, semicolon or tab) or XLSX")
    encoding = forms.ChoiceField(choices=[(c, CODES[c]) for c in ENCODINGS], label="Letters in")
    date_order = forms.ChoiceField(
        choices=[(order, ORDERS[order]) for order in DATE_ORDERS], label="Dates like 10/08/2026"
    )


class ConfirmForm(forms.Form):
    """What the preview was of. The name is for the record; the hash decides."""

    digest = forms.CharField(widget=forms.HiddenInput())
    name = forms.CharField(max_length=160, widget=forms.HiddenInput())
    encoding = forms.ChoiceField(choices=[(c, c) for c in ENCODINGS], widget=forms.HiddenInput())
    date_order = forms.ChoiceField(
        choices=[(o, o) for o in DATE_ORDERS], widget=forms.HiddenInput()
    )


@right(PLAN)
def upload(request: DeskRequest) -> HttpResponse:
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        shown = _preview(request, form)
        if shown is not None:
            return shown
    columns = [(name, MEANS[name], name in NEEDED) for name in COLUMNS]
    return render(request, "kerfbook/office/job_import.html", {"form": form, "columns": columns})


def _preview(request: DeskRequest, form: UploadForm) -> HttpResponse | None:
    file: UploadedFile[bytes] = form.cleaned_data["file"]
    name = (file.name or "list")[:160]
    how = {key: form.cleaned_data[key] for key in ("encoding", "date_order")}
    try:
        raw = upload_bytes(file, MAX_BYTES)
        plan = import_plan(raw, **how)
    except ValidationError as problem:
        refused(form, problem)
        return None
    except ListError as problem:
        form.add_error("file", f"{name}:{problem.line}: {problem.message}")
        return None
    confirm = ConfirmForm(initial={"digest": upload_keep(raw, "jobs"), "name": name, **how})
    return render(
        request,
        "kerfbook/office/job_preview.html",
        {"plan": plan, "name": name, "confirm": confirm},
    )


@right(PLAN)
@require_POST
def confirm(request: DeskRequest) -> HttpResponse:
    form = ConfirmForm(request.POST)
    raw = upload_read(form.cleaned_data["digest"], "jobs") if form.is_valid() else None
    if raw is None:
        messages.error(request, "That preview is no longer there. Nothing was written.")
        return redirect("job_import")
    how = form.cleaned_data
    if raw.count(b"\n") > LONG_LIST_ROWS or len(raw) > LONG_LIST_BYTES:
        options = {"encoding": how["encoding"], "date_order": how["date_order"]}
        taken = incoming_add(
            kind="jobs", name=how["name"], raw=raw, options=options, by=request.user
        )
        return redirect("incoming", taken.pk)
    try:
        plan = import_apply(
            raw, file_name=how["name"], encoding=how["encoding"], date_order=how["date_order"]
        )
    except (ListError, ValidationError) as problem:
        messages.error(request, f"Nothing was written: {problem}")
        return redirect("job_import")
    told = f"{count(plan.new_jobs, 'new job')}, {count(plan.new_lines, 'new line')}"
    if plan.known_lines:
        verb = "was" if plan.known_lines == 1 else "were"
        told += f", {count(plan.known_lines, 'line')} {verb} there already"
    messages.success(request, f"{how['name']}: {told}; {count(len(plan.faults), 'row')} left out.")
    return redirect("jobs")
