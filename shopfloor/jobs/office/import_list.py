"""Job lists as files: preview, then exactly what was previewed."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_POST

from planning.calc.said import to_reader
from shopfloor.files.read_list import MAX_BYTES, Heading, ListError, table_headings
from shopfloor.files.uploads import upload_keep, upload_read
from shopfloor.jobs.heading_maps import heading_map_for, heading_map_keep
from shopfloor.jobs.headings import known
from shopfloor.jobs.import_list import import_apply, import_plan
from shopfloor.jobs.import_told import import_told
from shopfloor.jobs.job_lists import job_lists
from shopfloor.jobs.list_rows import COLUMNS, NEEDED
from shopfloor.jobs.office.import_forms import ConfirmForm, HeadingsForm, UploadForm
from shopfloor.nests.long_files import LONG_LIST_BYTES, LONG_LIST_ROWS, incoming_add
from shopfloor.web.access import PLAN, DeskRequest, right
from shopfloor.web.forms import refused, upload_bytes

MEANS = {
    "job": N_("the order's number; rows of one job share it"),
    "customer": N_("on the first row of a job; a new name makes a new customer"),
    "title": N_("what it is, on the first row of a job"),
    "due": N_("2026-10-08 or 2026-10-08 13:30, on the shop's clock; a date alone means by its end"),
    "line": N_("a number; left out, lines count as they come"),
    "part": N_("the part's name or drawing"),
    "quantity": N_("whole parts"),
    "material": N_("a material of the shop, as under Materials"),
    "thickness": N_("as typed: 16 ga, 1/4 in, 6 mm"),
    "asked u range": N_("1 to 5 of ISO 9013 where the drawing asks one"),
    "next step": N_("weld, bend, machine, coat, ship"),
    "must be fine": N_("yes or no"),
    "quote": N_("for the whole job: 1250.00"),
}


@right(PLAN)
def upload(request: DeskRequest) -> HttpResponse:
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        shown = _taken(request, form)
        if shown is not None:
            return shown
    context = {
        "form": form,
        "columns": [(name, _(MEANS[name]), name in NEEDED) for name in COLUMNS],
        "lists": job_lists(),
    }
    return render(request, "jobs/job_import.html", context)


def _taken(request: DeskRequest, form: UploadForm) -> HttpResponse | None:
    """The preview of an upload; where a heading is unknown, the question what it means."""
    file: UploadedFile[bytes] = form.cleaned_data["file"]
    name = (file.name or "list")[:160]
    how = {key: form.cleaned_data[key] for key in ("encoding", "date_order")}
    try:
        raw = upload_bytes(file, MAX_BYTES)
        headings = table_headings(raw, encoding=how["encoding"])
        kept = None if known(headings, {}) else heading_map_for(headings)
        asked = {"digest": upload_keep(raw, "jobs"), "name": name, **how,
                 "meaning": kept.meaning if kept else {},
                 "read_as": kept.name if kept else ""}  # fmt: skip
        if not known(headings, asked["meaning"]):
            return headings_page(request, asked, headings)
        return preview(request, raw, asked)
    except ValidationError as problem:
        refused(form, problem)
    except ListError as problem:
        form.add_error("file", f"{name}:{problem.line}: {to_reader(problem.message, inch=False)}")
    return None


def preview(request: DeskRequest, raw: bytes, asked: dict[str, Any]) -> HttpResponse:
    """What the list would do. Raises ListError."""
    plan = import_plan(
        raw, encoding=asked["encoding"], date_order=asked["date_order"], meaning=asked["meaning"]
    )
    confirm = ConfirmForm(initial=asked)
    context = {"plan": plan, "name": asked["name"], "confirm": confirm, "asked": asked}
    return render(request, "jobs/job_preview.html", context)


def headings_page(
    request: DeskRequest,
    asked: dict[str, Any],
    headings: list[Heading],
    form: HeadingsForm | None = None,
) -> HttpResponse:
    """Which column each heading of a list is."""
    form = form or HeadingsForm(headings, asked["meaning"], initial={"keep": asked["read_as"]})
    rows = [(heading, form[f"h{place}"]) for place, heading in enumerate(headings)]
    context = {"form": form, "rows": rows, "name": asked["name"],
               "of": ConfirmForm(initial=asked), "needed": NEEDED}  # fmt: skip
    return render(request, "jobs/job_headings.html", context)


@right(PLAN)
@require_POST
def headings(request: DeskRequest) -> HttpResponse:
    """Takes what each heading means and shows the preview; `do=ask` asks again."""
    asked = ConfirmForm(request.POST)
    raw = upload_read(asked.cleaned_data["digest"], "jobs") if asked.is_valid() else None
    if raw is None:
        messages.error(request, _("That list is no longer kept. Bring it in again."))
        return redirect("job_import")
    how = asked.cleaned_data
    try:
        found = table_headings(raw, encoding=how["encoding"])
        if request.POST.get("do") == "ask":
            return headings_page(request, how, found)
        form = HeadingsForm(found, how["meaning"], request.POST)
        if not form.is_valid():
            return headings_page(request, how, found, form)
        how |= {"meaning": form.meaning(), "read_as": form.cleaned_data["keep"]}
        shown = preview(request, raw, how)
    except ListError as problem:
        messages.error(
            request, f"{how['name']}:{problem.line}: {to_reader(problem.message, inch=False)}"
        )
        return redirect("job_import")
    if how["read_as"]:
        heading_map_keep(name=how["read_as"], meaning=how["meaning"])
    return shown


@right(PLAN)
@require_POST
def confirm(request: DeskRequest) -> HttpResponse:
    form = ConfirmForm(request.POST)
    raw = upload_read(form.cleaned_data["digest"], "jobs") if form.is_valid() else None
    if raw is None:
        messages.error(
            request,
            _("That preview is no longer kept. Nothing was saved. Bring the list in again."),
        )
        return redirect("job_import")
    name = form.cleaned_data["name"]
    how = {key: form.cleaned_data[key] for key in ("encoding", "date_order", "meaning")}
    if raw.count(b"\n") > LONG_LIST_ROWS or len(raw) > LONG_LIST_BYTES:
        taken = incoming_add(kind="jobs", name=name, raw=raw, options=how, by=request.user)
        return redirect("incoming", taken.pk)
    try:
        plan = import_apply(raw, file_name=name, by=request.user, **how)
    except (ListError, ValidationError) as problem:
        messages.error(request, _("Nothing was written: {problem}").format(problem=problem))
        return redirect("job_import")
    messages.success(request, f"{name}: {import_told(plan)}")
    return redirect("jobs")
