"""Stock: sheets, receiving, heats and where they went."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from planning.calc.said import to_reader
from planning.calc.units import plate_unit_question
from shopfloor.models import Heat, Material, Sheet, SheetState
from shopfloor.runs.usual import plate_usual
from shopfloor.stock.queries import (
    heat_jobs,
    heats_list,
    sheet_promised,
    sheets_of,
    stock_list,
    stock_total,
    trace_sheets,
)
from shopfloor.stock.sheets import (
    MAX_CERTIFICATE_BYTES,
    certificate_keep,
    certificate_read,
    sheet_edit,
    sheet_leave,
    sheets_receive,
)
from shopfloor.web.access import ANY, CHART, COST, PLAN, DeskRequest, may, right
from shopfloor.web.forms import (
    LENGTH_UNITS,
    attempt,
    money_field,
    page_of,
    refused,
    to_minor,
    to_mm,
    upload_bytes,
)
from shopfloor.web.shown_values import kept_as_shown, shown

HERE = (SheetState.IN_STOCK, SheetState.ON_TABLE)
STATES = [*SheetState.choices, ("all", "all")]


class ReceiveForm(forms.Form):
    """Sheets that came together and are alike."""

    count = forms.IntegerField(min_value=1, max_value=200, initial=1, label=_lazy("Sheets"))
    code = forms.CharField(
        max_length=34,
        required=False,
        help_text=_lazy("Blank: the next P number; several are numbered on"),
    )
    material = forms.ModelChoiceField(Material.objects.all(), empty_label=_lazy("choose"))
    thickness_text = forms.CharField(
        max_length=40, label=_lazy("Thickness"), help_text=_lazy("16 ga, 1/4 in, 6 mm")
    )
    length = forms.DecimalField(min_value=1, max_digits=9, decimal_places=3)
    width = forms.DecimalField(min_value=1, max_digits=9, decimal_places=3)
    unit = forms.ChoiceField(choices=LENGTH_UNITS, label=_lazy("Length and width in"))
    unit_sure = forms.BooleanField(required=False, label=_lazy("The unit is right"))
    heat_number = forms.CharField(max_length=60, required=False)
    certificate = forms.FileField(required=False, help_text=_lazy("PDF or picture, kept as it is"))
    owner = forms.CharField(
        max_length=120,
        required=False,
        label=_lazy("Owner"),
        help_text=_lazy("Blank: the shop’s own"),
    )
    place = forms.CharField(max_length=40, required=False, help_text=_lazy("Rack R-14"))
    note = forms.CharField(max_length=200, required=False)

    def __init__(self, *args: Any, prices: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if prices:
            self.fields["cost"] = money_field(_("Cost of one sheet"))
        if not self.is_bound:
            del self.fields["unit_sure"]  # asked where the unit is in doubt

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        sides = told.get("length"), told.get("width")
        question = ""
        if sides[0] and sides[1]:
            inch = told.get("unit") == "in"
            question = plate_unit_question(float(sides[0]), float(sides[1]), inch=inch)
        if question and not told.get("unit_sure"):
            self.add_error(
                "unit",
                _("{question} Change the unit, or tick that it is right.").format(
                    question=to_reader(question, inch=inch)
                ),
            )
        elif not question:
            del self.fields["unit_sure"]
        told.pop("unit_sure", None)
        return told


class CertificateForm(forms.Form):
    certificate = forms.FileField(
        label=_lazy("Mill certificate"), help_text=_lazy("PDF or picture")
    )


class SheetForm(forms.Form):
    place = forms.CharField(max_length=40, required=False)
    note = forms.CharField(max_length=200, required=False)


SORTS = (
    "code",
    "material__code",
    "area_mm2",
    "heat__number",
    "owner__name",
    "place",
    "received_at",
    "cost_minor",
)


@right(*ANY)
def stock(request: DeskRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()[:80]
    state = request.GET.get("state", SheetState.IN_STOCK)
    rows = stock_list(text=text, state="" if state == "all" else state)
    prices = may(request.user, COST, CHART)
    return render(
        request,
        "stock/stock.html",
        {
            "page_obj": page_of(request, rows, SORTS if prices else SORTS[:-1]),
            "text": text, "state": state, "states": STATES,
            # Of what is gone there is no end: it is not added up on each visit.
            "total": stock_total(rows) if state in HERE else None,
            "prices": prices, "may_plan": may(request.user, PLAN),
        },
    )  # fmt: skip


@right(PLAN)
def receive(request: DeskRequest) -> HttpResponse:
    prices = may(request.user, COST, CHART)
    unit = "in" if request.user.units == "inch" else "mm"
    usual = plate_usual()
    sides = {
        side: round(mm / 25.4 if unit == "in" else mm, 3)
        for side in ("length", "width")
        if (mm := usual.pop(f"{side}_mm")) is not None
    }
    form = ReceiveForm(
        request.POST or None, request.FILES or None, prices=prices,
        initial={"unit": unit, **usual, **sides},
    )  # fmt: skip
    if request.method == "POST" and form.is_valid():
        made: list[Sheet] = []
        if attempt(form, lambda: made.extend(_receive(dict(form.cleaned_data)))):
            messages.success(
                request, _("Received: {made}.").format(made=", ".join(sheet.code for sheet in made))
            )
            return redirect("stock")
    return render(
        request,
        "web/form.html",
        {
            "form": form,
            "heading": _("Receive plate"),
            "submit": _("Put it in stock"),
            "back": "stock",
        },
    )


def _receive(values: dict[str, Any]) -> list[Sheet]:
    unit = values.pop("unit")
    upload = values.pop("certificate")
    return sheets_receive(
        length_mm=to_mm(values.pop("length"), unit),
        width_mm=to_mm(values.pop("width"), unit),
        certificate=upload_bytes(upload, MAX_CERTIFICATE_BYTES) if upload else None,
        cost_minor=to_minor(values.pop("cost", None)),
        **values,
    )


def _sheet_known(pk: int) -> dict[str, Any]:
    return dict(Sheet.objects.values("place", "note").get(pk=pk))


@right(*ANY)
def sheet(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(
        Sheet.objects.select_related("material", "heat", "owner", "parent"), pk=pk
    )
    form = SheetForm(request.POST or None, initial=_sheet_known(pk))
    may_plan = may(request.user, PLAN)
    if (
        request.method == "POST"
        and may_plan
        and form.is_valid()
        and kept_as_shown(
            request,
            form,
            found,
            lambda: _sheet_known(pk),
            lambda: sheet_edit(sheet=found, **form.cleaned_data),
        )
    ):
        return redirect("sheet", pk)
    return render(
        request,
        "stock/sheet.html",
        {
            "sheet": found, "form": form, "may_plan": may_plan,
            "shown": shown(form, found, _sheet_known(pk)),
            "traced": trace_sheets(Sheet.objects.filter(pk=pk))[0],
            "remnants": found.remnants.select_related("heat"),
            "promised": sheet_promised(found),
            "prices": may(request.user, COST, CHART),
        },
    )  # fmt: skip


@right(PLAN)
@require_POST
def leave(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Sheet, pk=pk)
    try:
        sheet_leave(
            sheet=found, state=request.POST.get("state", ""), why=request.POST.get("why", "")
        )
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    return redirect("sheet", pk)


@right(*ANY)
def heats(request: DeskRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()[:80]
    page = page_of(request, heats_list(text=text), ("number", "material__code"))
    sheets = sheets_of(page.object_list)
    counted = [(heat, *sheets.get(heat.pk, (0, None))) for heat in page]
    context = {"page_obj": page, "text": text, "counted": counted}
    return render(request, "stock/heats.html", context)


@right(*ANY)
def heat(request: DeskRequest, pk: int) -> HttpResponse:
    """A heat: its sheets, the runs on them, the parts they gave, the jobs these went to."""
    found = get_object_or_404(Heat.objects.select_related("material"), pk=pk)
    form = CertificateForm(request.POST or None, request.FILES or None)
    may_plan = may(request.user, PLAN)
    if request.method == "POST" and may_plan and form.is_valid():
        try:
            raw = upload_bytes(form.cleaned_data["certificate"], MAX_CERTIFICATE_BYTES)
            certificate_keep(heat=found, raw=raw)
            return redirect("heat", pk)
        except ValidationError as problem:
            refused(form, problem)
    traced = trace_sheets(found.sheet_set.all())
    return render(
        request,
        "stock/heat.html",
        {"heat": found, "traced": traced, "jobs": heat_jobs(traced), "form": form,
         "may_plan": may_plan},
    )  # fmt: skip


@right(*ANY)
def certificate(request: DeskRequest, pk: int) -> HttpResponse:
    """The certificate as it came, to be saved: never shown inside our own pages."""
    found = get_object_or_404(Heat, pk=pk)
    if not found.certificate:
        raise Http404
    raw = certificate_read(heat=found)
    if raw is None:
        messages.error(request, _("The certificate’s file is gone or no longer what was kept."))
        return redirect("heat", pk)
    ending = (found.certificate.name or "").rpartition(".")[2]
    response = HttpResponse(raw, content_type="application/octet-stream")
    response["Content-Disposition"] = f'attachment; filename="heat-{found.pk}.{ending}"'
    return response
