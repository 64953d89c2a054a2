"""Sets with their parts, materials, and what an hour costs."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from shopfloor.models import PieceKind, RateKind, Table, WearSet
from shopfloor.office.access import ANY, CHART, COST, FLOOR, PLAN, WAGE, DeskRequest, may, right
from shopfloor.office.forms import DayField, attempt, from_minor, money_field, to_minor
from shopfloor.office.shown import kept_as_shown, shown
from shopfloor.selectors.chart import (
    WAGES,
    materials_list,
    rates_list,
    set_parts,
    sets_list,
    trays_of,
)
from shopfloor.services.chart_office import CAUTIONS, material_add, part_set
from shopfloor.services.rates import rate_set
from shopfloor.services.trays import tray_make_up

FAMILIES = ["mild steel", "stainless", "aluminium", "galvanised", "copper", "brass"]


class PartForm(forms.Form):
    kind = forms.ChoiceField(choices=PieceKind.choices)
    name = forms.CharField(max_length=80, label="Called")
    rated_starts = forms.IntegerField(
        min_value=1, max_value=1_000_000, required=False, help_text="By its maker; blank: unknown"
    )
    pit_limit_mm = forms.FloatField(
        min_value=0.1, max_value=10, required=False, label="Pit limit, mm",
        help_text="Blank: the shop’s own limit",
    )  # fmt: skip
    in_drawer = forms.IntegerField(min_value=0, max_value=100_000, initial=0)
    low_at = forms.IntegerField(min_value=0, max_value=100_000, initial=2, label="Say when below")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["price"] = money_field("Price", required=True)


class MaterialForm(forms.Form):
    code = forms.CharField(max_length=40)
    name = forms.CharField(max_length=80)
    family = forms.ChoiceField(choices=[(name, name) for name in FAMILIES])
    density_kg_m3 = forms.FloatField(min_value=500, max_value=25_000, label="Density, kg/m³")
    caution = forms.ChoiceField(
        choices=[("", "none known"), *((word, word) for word in sorted(set(CAUTIONS.values())))],
        required=False, help_text="Shown wherever hands go near harm",
    )  # fmt: skip


class RateForm(forms.Form):
    kind = forms.ChoiceField()
    table = forms.ModelChoiceField(
        Table.objects.filter(active=True), required=False, empty_label="all tables"
    )
    valid_from = DayField(label="From")
    note = forms.CharField(max_length=200, required=False)

    def __init__(self, *args: Any, wages: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kind = self.fields["kind"]
        if isinstance(kind, forms.ChoiceField):
            kind.choices = [c for c in RateKind.choices if wages or c[0] not in WAGES]
        self.fields["amount"] = money_field("Amount", required=True)
        self.fields["apply"] = forms.BooleanField(
            required=False, label="Apply it to what was booked since that day",
            help_text="All of it is worked out again; the differences are entries with your name",
        )  # fmt: skip


@right(*ANY)
def sets(request: DeskRequest) -> HttpResponse:
    return render(request, "kerfbook/office/sets.html", {"sets": sets_list()})


@right(*ANY)
def one_set(request: DeskRequest, pk: int) -> HttpResponse:
    wear_set = get_object_or_404(WearSet, pk=pk)
    may_edit = may(request.user, CHART)
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    initial = _part_initial(wear_set, request.GET.get("kind", ""))
    form = PartForm(request.POST or None, initial=initial) if may_edit else None
    if form is not None and request.method == "POST" and form.is_valid():
        values = dict(form.cleaned_data)
        price = to_minor(values.pop("price")) or 0
        part = wear_set.parts.filter(kind=values["kind"]).first()
        if kept_as_shown(
            request, form, part,
            lambda: _part_initial(wear_set, values["kind"]) if part else {},
            lambda: part_set(wear_set=wear_set, price_minor=price, **values),
        ):  # fmt: skip
            messages.success(request, "Kept. Pieces bought before keep their price.")
            return redirect("set", pk)
    return render(
        request,
        "kerfbook/office/set.html",
        {"set": wear_set, "parts": set_parts(wear_set), "trays": trays_of(wear_set), "form": form,
         "shown": _part_shown(wear_set, form, request) if form else "",
         "may_tray": may(request.user, PLAN, CHART, FLOOR),
         "prices": may(request.user, COST, CHART)},
    )  # fmt: skip


def _part_initial(wear_set: WearSet, kind: str) -> dict[str, Any]:
    """A known part's figures, to be changed."""
    part = wear_set.parts.filter(kind=kind).first()
    if part is None:
        return {"kind": kind}
    known = {name: getattr(part, name) for name in PartForm.base_fields}
    return {**known, "price": from_minor(part.price_minor)}


def _part_shown(wear_set: WearSet, form: PartForm, request: DeskRequest) -> str:
    """Of the kind that is on the page: an empty form shows nothing of any part."""
    kind = request.POST.get("kind", request.GET.get("kind", ""))
    part = wear_set.parts.filter(kind=kind).first()
    return shown(form, part, _part_initial(wear_set, kind) if part else {"kind": kind})


class TrayForm(forms.Form):
    label = forms.CharField(
        max_length=40, help_text="as on the tray, to be scanned; the same again fills it up"
    )


@right(PLAN, CHART, FLOOR)
def make_tray(request: DeskRequest, pk: int) -> HttpResponse:
    wear_set = get_object_or_404(WearSet, pk=pk)
    form = TrayForm(request.POST or None)
    if (
        request.method == "POST"
        and form.is_valid()
        and attempt(form, lambda: tray_make_up(wear_set=wear_set, **form.cleaned_data))
    ):
        messages.success(request, f"Tray {form.cleaned_data['label']} is made up.")
        return redirect("set", pk)
    return render(
        request, "kerfbook/office/form.html",
        {"form": form, "heading": str(wear_set).capitalize(), "sub": "a tray of its pieces",
         "submit": "Make it up", "back": "set", "back_pk": pk},
    )  # fmt: skip


@right(*ANY)
def materials(request: DeskRequest) -> HttpResponse:
    may_edit = may(request.user, CHART)
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    form = MaterialForm(request.POST or None) if may_edit else None
    if (
        form is not None
        and request.method == "POST"
        and form.is_valid()
        and attempt(form, lambda: material_add(**form.cleaned_data))
    ):
        return redirect("materials")
    return render(
        request, "kerfbook/office/materials.html", {"materials": materials_list(), "form": form}
    )


@right(COST, WAGE)
def rates(request: DeskRequest) -> HttpResponse:
    """Rates from a day on. Wages only for those who may see them; changes take the chart right."""
    wages, may_edit = may(request.user, WAGE), may(request.user, CHART)
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    form = RateForm(request.POST or None, wages=wages) if may_edit else None
    if form is not None and request.method == "POST" and form.is_valid():
        values = dict(form.cleaned_data)
        amount = to_minor(values.pop("amount")) or 0
        if attempt(form, lambda: rate_set(amount_minor=amount, by=request.user, **values)):
            return redirect("rates")
    today = timezone.localdate()
    return render(
        request, "kerfbook/office/rates.html",
        {"rates": rates_list(wages=wages, today=today), "form": form, "wages": wages},
    )  # fmt: skip
