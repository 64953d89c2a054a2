"""Adding and changing jobs and their lines."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from shopfloor.audit.row_versions import version_of
from shopfloor.jobs.services import (
    NEXT_STEPS,
    job_add,
    job_close,
    job_edit,
    job_hold,
    job_open,
    job_quote,
    line_add,
    line_drop,
    line_edit,
)
from shopfloor.models import Job, JobLine, Material
from shopfloor.web.access import MARGIN, PLAN, DeskRequest, right
from shopfloor.web.edit_conflicts import saved_unless_changed
from shopfloor.web.forms import WhenField, attempt, from_minor, money_field, to_minor
from shopfloor.web.shown_values import kept_as_shown, shown
from shopfloor.wording.numbers_in import row_number

RANGES = [
    ("", _lazy("none asked")),
    *((str(n), format_lazy(_lazy("range {number}"), number=n)) for n in range(1, 6)),
]


class JobForm(forms.Form):
    number = forms.CharField(
        max_length=40, label=_lazy("Job"), help_text=_lazy("As on the order, K-2284")
    )
    customer = forms.CharField(max_length=120, help_text=_lazy("A new name makes a new customer"))
    title = forms.CharField(max_length=160, label=_lazy("What"))
    due_at = WhenField(required=False, label=_lazy("Due"), help_text=_lazy("On the shop's clock"))
    weight = forms.IntegerField(
        min_value=1, max_value=10, initial=1, label=_lazy("Weight"),
        help_text=_lazy("How much its lateness hurts against others, 1 to 10"),
    )  # fmt: skip


class LineForm(forms.Form):
    part = forms.CharField(max_length=80)
    quantity = forms.IntegerField(min_value=1, max_value=1_000_000)
    material = forms.ModelChoiceField(Material.objects.all(), empty_label=_lazy("choose"))
    thickness_text = forms.CharField(
        max_length=40,
        label=_lazy("Thickness"),
        help_text=_lazy("As typed on the order: 16 ga, 1/4 in, 6 mm"),
    )
    u_range_asked = forms.TypedChoiceField(
        choices=RANGES,
        required=False,
        coerce=int,
        empty_value=None,
        label=_lazy("ISO 9013 u range asked"),
    )
    next_step = forms.ChoiceField(
        choices=[(step, _lazy(step or "none")) for step in NEXT_STEPS], required=False
    )
    must_be_fine = forms.BooleanField(required=False, label=_lazy("Must be cut fine"))


class QuoteForm(forms.Form):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quote"] = money_field(_("Quoted"))


def _form_page(request: DeskRequest, form: forms.Form, **more: Any) -> HttpResponse:
    return render(request, "web/form.html", {"form": form, **more})


@right(PLAN)
def add(request: DeskRequest) -> HttpResponse:
    form = JobForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made: list[Job] = []
        if attempt(form, lambda: made.append(job_add(**form.cleaned_data))):
            messages.success(
                request, _("{number} is open. Now its lines.").format(number=made[0].number)
            )
            return redirect("job_line_add", made[0].pk)
    return _form_page(request, form, heading=_("A new job"), submit=_("Open the job"), back="jobs")


@right(PLAN)
def edit(request: DeskRequest, pk: int) -> HttpResponse:
    seen = version_of(Job, pk)
    job = get_object_or_404(Job.objects.select_related("customer"), pk=pk)
    known = {"number": job.number, "customer": job.customer.name, "title": job.title,
             "due_at": job.due_at, "weight": job.weight}  # fmt: skip
    form = JobForm(request.POST or None, initial=known)
    form.fields["number"].disabled = True
    if request.method == "POST" and form.is_valid():
        values = {k: v for k, v in form.cleaned_data.items() if k != "number"}
        if saved_unless_changed(request, form, job, lambda: job_edit(job=job, **values)):
            messages.success(request, _("Kept."))
            return redirect("job", job.pk)
    return _form_page(
        request, form, heading=job.number, sub="change", submit=_("Keep the job"), back="job",
        back_pk=job.pk, seen=seen,
    )  # fmt: skip


def _quote_known(pk: int) -> dict[str, Any]:
    return {"quote": from_minor(Job.objects.values_list("quote_minor", flat=True).get(pk=pk))}


@right(MARGIN)
def quote(request: DeskRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job, pk=pk)
    form = QuoteForm(request.POST or None, initial=_quote_known(pk))
    if request.method == "POST" and form.is_valid():
        amount = to_minor(form.cleaned_data["quote"])
        if kept_as_shown(
            request, form, job, lambda: _quote_known(pk),
            lambda: job_quote(job=job, quote_minor=amount),
        ):  # fmt: skip
            return redirect("job", job.pk)
    return _form_page(
        request, form, heading=job.number, sub="quote", submit=_("Keep the quote"), back="job",
        back_pk=job.pk, shown=shown(form, job, _quote_known(pk)),
    )  # fmt: skip


@right(PLAN)
def add_line(request: DeskRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job, pk=pk)
    form = LineForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made: list[JobLine] = []
        if attempt(form, lambda: made.append(line_add(job=job, **form.cleaned_data))):
            messages.success(
                request,
                _("Line {number}: {quantity} {part}.").format(
                    number=made[0].number, quantity=made[0].quantity, part=made[0].part
                ),
            )
            return redirect("job", job.pk)
    return _form_page(
        request,
        form,
        heading=job.number,
        sub=_("a new line"),
        submit=_("Add the line"),
        back="job",
        back_pk=job.pk,
    )


@right(PLAN)
def edit_line(request: DeskRequest, pk: int, number: int) -> HttpResponse:
    key = get_object_or_404(JobLine.objects.only("pk"), job=pk, number=number).pk
    version = version_of(JobLine, key)
    line = JobLine.objects.select_related("job").get(pk=key)
    known = {name: getattr(line, name) for name in LineForm.base_fields}
    form = LineForm(request.POST or None, initial=known)
    if (
        request.method == "POST"
        and form.is_valid()
        and saved_unless_changed(
            request, form, line, lambda: line_edit(line=line, **form.cleaned_data)
        )
    ):
        return redirect("job", pk)
    return _form_page(
        request,
        form,
        heading=line.job.number,
        sub=_("line {number}").format(number=number),
        submit=_("Keep the line"),
        back="job",
        back_pk=pk,
        seen=version,
    )


@right(PLAN)
@require_POST
def act(request: DeskRequest, pk: int) -> HttpResponse:
    """Hold, open or close; or drop a line."""
    job = get_object_or_404(Job, pk=pk)
    what = request.POST.get("do", "")
    try:
        if what == "hold":
            job_hold(job=job, reason=request.POST.get("reason", ""))
        elif what == "open":
            job_open(job=job)
        elif what == "close":
            job_close(job=job)
        elif what == "drop":
            number = request.POST.get("line", "")
            line_drop(line=get_object_or_404(job.lines, number=row_number(number) or 0))
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    return redirect("job", job.pk)
