"""The page that puts a sheet right which was entered wrongly."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from planning.calc.units import in_from_mm
from shopfloor.models import Sheet, Units
from shopfloor.stock.correct import sheet_correct
from shopfloor.web.access import CHART, COST, PLAN, DeskRequest, may, right
from shopfloor.web.forms import from_minor, money_field, plain, to_minor, to_mm
from shopfloor.web.shown_values import kept_as_shown, shown


class CorrectForm(forms.Form):
    thickness_text = forms.CharField(max_length=40, label=_lazy("Thickness"))
    length = forms.DecimalField(min_value=1, max_digits=9, decimal_places=3)
    width = forms.DecimalField(min_value=1, max_digits=9, decimal_places=3)
    heat_number = forms.CharField(max_length=60, required=False)
    why = forms.CharField(max_length=200, help_text=_lazy("kept beside the change"))

    def __init__(self, *args: Any, prices: bool, inch: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.inch = inch
        for name in ("length", "width"):
            self.fields[name].label = f"{name.capitalize()}, {'in' if inch else 'mm'}"
        if prices:
            self.fields["cost"] = money_field(_("Cost"), help_text=_("blank: unknown"))
            self.order_fields(["thickness_text", "length", "width", "heat_number", "cost", "why"])


def _known(pk: int, *, inch: bool) -> dict[str, Any]:
    sheet = Sheet.objects.select_related("heat").get(pk=pk)
    sides = {"length": sheet.length_mm, "width": sheet.width_mm}
    return {
        "thickness_text": sheet.thickness_text,
        "heat_number": sheet.heat.number if sheet.heat else "",
        "cost": from_minor(sheet.cost_minor),
        **{name: plain(round(in_from_mm(mm) if inch else mm, 3)) for name, mm in sides.items()},
    }


def _write(form: CorrectForm, sheet: Sheet) -> None:
    """A side left alone keeps its last digit."""
    told, unit = form.cleaned_data, "in" if form.inch else "mm"
    sides: dict[str, Any] = {
        f"{name}_mm": to_mm(told[name], unit)
        if name in form.changed_data
        else getattr(sheet, f"{name}_mm")
        for name in ("length", "width")
    }
    cost = to_minor(told["cost"]) if "cost" in told else sheet.cost_minor
    words = {name: told[name] for name in ("thickness_text", "heat_number", "why")}
    sheet_correct(sheet=sheet, cost_minor=cost, **words, **sides)


@right(PLAN)
def correct(request: DeskRequest, pk: int) -> HttpResponse:
    sheet = get_object_or_404(Sheet, pk=pk)
    inch = request.user.units == Units.INCH
    known = _known(pk, inch=inch)
    prices = sheet.owner_id is None and may(request.user, COST, CHART)
    form = CorrectForm(request.POST or None, initial=known, prices=prices, inch=inch)
    if (
        request.method == "POST"
        and form.is_valid()
        and kept_as_shown(
            request, form, sheet, lambda: _known(pk, inch=inch), lambda: _write(form, sheet)
        )
    ):
        messages.success(request, _("Corrected. What it cost jobs is worked out again."))
        return redirect("sheet", pk)
    return render(
        request, "web/form.html",
        {"form": form, "heading": sheet.code, "sub": _("correct what was entered"),
         "submit": _("Correct it"), "back": "sheet", "back_pk": pk,
         "shown": shown(form, sheet, known)},
    )  # fmt: skip
