"""The cut chart: rows in force and before, and bringing a chart in as CSV."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from planning.calc.chart import ChartError
from planning.calc.said import to_reader
from shopfloor.chart.cut_settings import CHART_NAMES, OF_CHART, columns
from shopfloor.chart.queries import chart_rows
from shopfloor.chart.services import chart_apply, chart_plan, row_end
from shopfloor.files.uploads import upload_keep, upload_read
from shopfloor.models import ChartRow, Material, WearSet
from shopfloor.web.access import ANY, CHART, DeskRequest, may, right
from shopfloor.web.forms import page_of, refused, upload_bytes
from shopfloor.wording.counts import count
from shopfloor.wording.numbers_in import row_number

MAX_CHART_BYTES = 2 * 1024 * 1024
SORTS = (
    "wear_set__current_a",
    "material__code",
    "thickness_mm",
    *CHART_NAMES,
    "valid_from",
    "valid_to",
)
COLUMNS = ", ".join(("set", "duty", "current_a", "gas", "material", "thickness_mm", *CHART_NAMES))


class ChartForm(forms.Form):
    file = forms.FileField(
        label=_lazy("Cut chart"), help_text=_lazy("CSV, UTF-8, columns in any order")
    )
    example = forms.BooleanField(
        required=False, label=_lazy("Example values, not for cutting"),
        help_text=_lazy("Marks every row so, wherever it is shown"),
    )  # fmt: skip
    note = forms.CharField(
        max_length=200, required=False, help_text=_lazy("Where these figures are from")
    )


class ConfirmForm(forms.Form):
    digest = forms.CharField(widget=forms.HiddenInput())
    example = forms.BooleanField(required=False, widget=forms.HiddenInput())
    note = forms.CharField(max_length=200, required=False, widget=forms.HiddenInput())


@right(*ANY)
def chart(request: DeskRequest) -> HttpResponse:
    wear_set, material = row_number(request.GET.get("set")), row_number(request.GET.get("material"))
    ended = request.GET.get("rows") == "ended"
    rows = chart_rows(wear_set=wear_set, material=material, ended=ended)
    return render(
        request,
        "chart/chart.html",
        {
            "columns": columns(OF_CHART), "page_obj": page_of(request, rows, SORTS),
            "sets": WearSet.objects.all(),
            "materials": Material.objects.all(), "set": wear_set, "material": material,
            "ended": ended, "may_edit": may(request.user, CHART), "now": timezone.now(),
            "example": rows.filter(example=True).exists(),
        },
    )  # fmt: skip


@right(CHART)
def bring(request: DeskRequest) -> HttpResponse:
    form = ChartForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        file: UploadedFile[bytes] = form.cleaned_data["file"]
        try:
            raw = upload_bytes(file, MAX_CHART_BYTES)
            plan = chart_plan(raw)
            confirm = ConfirmForm(
                initial={"digest": upload_keep(raw, "chart"),
                         "example": form.cleaned_data["example"],
                         "note": form.cleaned_data["note"]}
            )  # fmt: skip
            return render(
                request, "chart/chart_preview.html",
                {"plan": plan, "name": file.name, "confirm": confirm, "columns": columns(OF_CHART)},
            )  # fmt: skip
        except ValidationError as problem:
            refused(form, problem)
        except ChartError as problem:
            form.add_error(
                "file", f"{file.name}:{problem.line}: {to_reader(problem.message, inch=False)}"
            )
    return render(request, "chart/chart_import.html", {"form": form, "columns": COLUMNS})


@right(CHART)
@require_POST
def confirm(request: DeskRequest) -> HttpResponse:
    form = ConfirmForm(request.POST)
    raw = upload_read(form.cleaned_data["digest"], "chart") if form.is_valid() else None
    if raw is None:
        messages.error(request, _("That preview is no longer kept. Nothing was saved."))
        return redirect("chart_import")
    how = form.cleaned_data
    plan = chart_apply(raw, example=how["example"], note=how["note"])
    messages.success(
        request,
        _("{rows} in force from now; what was before is kept.").format(
            rows=count(len(plan.writes), "{n} row", "{n} rows")
        ),
    )
    return redirect("chart")


@right(CHART)
@require_POST
def end(request: DeskRequest, pk: int) -> HttpResponse:
    row_end(row=get_object_or_404(ChartRow, pk=pk))
    messages.success(request, _("The row is out of force; plans made from it keep it."))
    return redirect("chart")
