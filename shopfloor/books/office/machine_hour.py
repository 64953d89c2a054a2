"""What an hour of a table costs, worked out from what the owner types. Nothing of it is kept: the
sum goes into the form of a new rate only where the person asks for it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from planning.calc.cost import MachineYear, machine_hour_rate
from shopfloor.models import RateKind
from shopfloor.site.queries import the_shop
from shopfloor.web.access import CHART, COST, WAGE, DeskRequest, may, right
from shopfloor.web.forms import from_minor, money_field, to_minor
from shopfloor.wording.money import money_text

PARTS = {
    "depreciation": gettext_lazy("replacement, over its life"),
    "interest": gettext_lazy("interest on half the price paid"),
    "upkeep": gettext_lazy("upkeep"),
    "power": gettext_lazy("power"),
    "room": gettext_lazy("floor space"),
    "tools": gettext_lazy("tools"),
}


class MachineHourForm(forms.Form):
    """Money in whole units of the shop's currency; floor space in any unit of area, with its price
    for the same one."""

    hours = forms.DecimalField(
        min_value=1, max_value=8784, label=gettext_lazy("Hours it runs a year"),
        help_text=gettext_lazy("days × shifts × hours, less what it stands"),
    )  # fmt: skip
    life_years = forms.DecimalField(
        min_value=Decimal("0.5"), max_value=60, label=gettext_lazy("Life, years")
    )
    interest = forms.DecimalField(
        min_value=0, max_value=100, label=gettext_lazy("Interest a year, %")
    )
    space = forms.DecimalField(
        min_value=0, max_value=100_000, required=False, label=gettext_lazy("Floor space, m² or ft²")
    )
    power_kw = forms.DecimalField(
        min_value=0, max_value=10_000, required=False, label=gettext_lazy("Power drawn, kW"),
        help_text=gettext_lazy("without the arc’s, where power has a rate of its own"),
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        money = {
            "purchase": (_("Price paid"), ""),
            "replacement": (
                _("Price of the next one"), _("what a new one will cost; blank: as paid")
            ),
            "upkeep": (_("Upkeep a year"), _("repairs and service, wear parts apart")),
            "space_price": (_("Floor space, a year for one m² or ft²"), ""),
            "power_price": (_("Power, for one kWh"), ""),
            "tools": (_("Tools an hour"), _("blank where wear parts are charged by the piece")),
        }  # fmt: skip
        for name, (label, hint) in money.items():
            self.fields[name] = money_field(label, required=name == "purchase", help_text=hint)
        self.order_fields(
            ["purchase", "replacement", "life_years", "hours", "interest", "upkeep", "space",
             "space_price", "power_kw", "power_price", "tools"]
        )  # fmt: skip

    def year(self) -> MachineYear:
        told = {name: value or Decimal(0) for name, value in self.cleaned_data.items()}
        return MachineYear(
            hours=told["hours"], replacement=told["replacement"] or told["purchase"],
            life_years=told["life_years"], purchase=told["purchase"],
            interest=told["interest"] / 100, upkeep_per_year=told["upkeep"],
            power_kw=told["power_kw"], power_price=told["power_price"],
            room_per_year=told["space"] * told["space_price"], tools_per_hour=told["tools"],
        )  # fmt: skip


@right(COST, WAGE)
def machine_hour(request: DeskRequest) -> HttpResponse:
    """The sum and its parts. The address of the rate's form has the amount in it, and no more."""
    form = MachineHourForm(request.POST or None)
    rows, fill = [], ""
    if request.method == "POST" and form.is_valid():
        rate = machine_hour_rate(form.year())
        rows = _rows(rate)
        if may(request.user, CHART):
            asked = {"kind": RateKind.MACHINE, "amount": str(from_minor(to_minor(rate["total"])))}
            fill = f"{reverse('rates')}?{urlencode(asked)}#new"
    return render(request, "books/machine_hour.html", {"form": form, "rows": rows, "fill": fill})


def _rows(rate: dict[str, Decimal]) -> list[dict[str, Any]]:
    """Each part to the minor unit, and the total, rounded on its own."""
    digits = the_shop().currency_digits
    rows: list[dict[str, Any]] = [
        {"label": label, "value": money_text(to_minor(rate[name]) or 0, digits)}
        for name, label in PARTS.items()
    ]
    total = money_text(to_minor(rate["total"]) or 0, digits)
    return [*rows, {"label": _("an hour"), "value": total, "total": True}]
