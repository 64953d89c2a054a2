"""Sets with their parts, and materials."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.chart.queries import materials_list, set_parts, sets_list, trays_of
from shopfloor.chart.services import CAUTIONS, material_add, part_set
from shopfloor.models import PieceKind, Units, WearSet
from shopfloor.web.access import ANY, CHART, COST, FLOOR, PLAN, DeskRequest, may, right
from shopfloor.web.forms import LengthField, attempt, from_minor, money_field, read_in, to_minor
from shopfloor.web.shown_values import kept_as_shown, shown

FAMILIES = ["mild steel", "stainless", "aluminium", "galvanised", "copper", "brass"]


class PartForm(forms.Form):
    kind = forms.ChoiceField(choices=PieceKind.choices)
    name = forms.CharField(max_length=80, label=_lazy("Name"))
    rated_starts = forms.IntegerField(
        min_value=1,
        max_value=1_000_000,
        required=False,
        help_text=_lazy("From its maker; blank: unknown"),
    )
    pit_limit_mm = LengthField(
        min_value=0.1, max_value=10, required=False, label=_lazy("Pit limit"),
        help_text=_lazy("Blank: the shop’s own limit"),
    )  # fmt: skip
    in_drawer = forms.IntegerField(min_value=0, max_value=100_000, initial=0)
    low_at = forms.IntegerField(
        min_value=0, max_value=100_000, initial=2, label=_lazy("Warn when below")
    )
    lead_days = forms.IntegerField(
        min_value=0, max_value=1_000, required=False, label=_lazy("Days from order to drawer"),
        help_text=_lazy("With it the reorder point follows from use; blank: unknown"),
    )  # fmt: skip
    pack = forms.IntegerField(
        min_value=1, max_value=1_000, initial=1, label=_lazy("Sold in packs of")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["price"] = money_field(_("Price"), required=True)


class MaterialForm(forms.Form):
    code = forms.CharField(max_length=40)
    name = forms.CharField(max_length=80, required=False, help_text=_lazy("Blank: as its code"))
    family = forms.ChoiceField(choices=[(name, _lazy(name)) for name in FAMILIES])
    density_kg_m3 = forms.FloatField(
        min_value=500, max_value=25_000, required=False, label=_lazy("Density, kg/m³"),
        help_text=_lazy("Blank: the usual one of its family"),
    )  # fmt: skip
    caution = forms.ChoiceField(
        choices=[
            ("", _lazy("the usual one of its family")),
            *((word, word) for word in sorted(set(CAUTIONS.values()))),
        ],
        required=False, help_text=_lazy("Shown where hands can be hurt"),
    )  # fmt: skip


@right(*ANY)
def sets(request: DeskRequest) -> HttpResponse:
    return render(request, "chart/sets.html", {"sets": sets_list()})


@right(*ANY)
def one_set(request: DeskRequest, pk: int) -> HttpResponse:
    wear_set = get_object_or_404(WearSet, pk=pk)
    may_edit = may(request.user, CHART)
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    initial = _part_initial(wear_set, request.GET.get("kind", ""))
    form = PartForm(request.POST or None, initial=initial) if may_edit else None
    if form is not None:
        read_in(form, inch=request.user.units == Units.INCH)
    if form is not None and request.method == "POST" and form.is_valid():
        values = dict(form.cleaned_data)
        price = to_minor(values.pop("price")) or 0
        part = wear_set.parts.filter(kind=values["kind"]).first()
        if kept_as_shown(
            request, form, part,
            lambda: _part_initial(wear_set, values["kind"]) if part else {},
            lambda: part_set(wear_set=wear_set, price_minor=price, **values),
        ):  # fmt: skip
            messages.success(request, _("Kept. Pieces bought before keep their price."))
            return redirect("set", pk)
    return render(
        request,
        "chart/set.html",
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
        messages.success(request, _("{code} is added.").format(code=form.cleaned_data["code"]))
        return redirect("materials")
    return render(request, "chart/materials.html", {"materials": materials_list(), "form": form})
