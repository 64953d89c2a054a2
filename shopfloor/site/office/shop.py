"""The shop's settings, for administrators and the owner."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from planning.calc.dates import DAYS
from shopfloor.models import Reason, ReasonKind, Shift, Table, Units
from shopfloor.site.holidays import country_choices
from shopfloor.site.queries import the_shop
from shopfloor.site.services import (
    USUAL_REASONS,
    reason_add,
    reason_retire,
    shift_add,
    shift_end,
    shop_set,
)
from shopfloor.web.access import DeskRequest, administrator
from shopfloor.web.forms import (
    AreaField,
    DayField,
    LengthField,
    PriceByWeightField,
    from_minor,
    read_in,
    to_minor,
)
from shopfloor.web.shown_values import kept_as_shown, shown

RULES = (
    "name",
    "address",
    "contact",
    "zone",
    "country",
    "region",
    "units",
    "currency",
    "currency_digits",
    "ask_reason_after_s",
    "run_gap_s",
    "pit_limit_mm",
    "failure_lost_min",
    "remnant_factor",
    "remnant_days",
    "journal_days",
)


class ShopForm(forms.Form):
    name = forms.CharField(max_length=120)
    address = forms.CharField(
        max_length=300, required=False, widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_lazy("as it stands on letters: customers read it on quotes"),
    )  # fmt: skip
    contact = forms.CharField(
        max_length=200, required=False, label=_lazy("Telephone, mail, registration"),
        help_text=_lazy("customers read it on quotes"),
    )  # fmt: skip
    zone = forms.CharField(
        max_length=64,
        label=_lazy("Time zone"),
        help_text=_lazy(
            "such as America/Chicago; set it before the first run: past work keeps its day"
        ),
    )
    country = forms.ChoiceField(
        choices=country_choices,
        required=False,
        label=_lazy("Public holidays of"),
        help_text=_lazy("offered on the calendar as closed days"),
    )
    region = forms.CharField(
        max_length=8,
        required=False,
        label=_lazy("State or region"),
        help_text=_lazy("where it has holidays of its own: its code, such as TX"),
    )
    units = forms.ChoiceField(
        choices=Units.choices, label=_lazy("Sizes in"),
        help_text=_lazy("what everybody starts with; each person can change their own"),
    )  # fmt: skip
    currency = forms.CharField(max_length=3, min_length=3, help_text=_lazy("ISO 4217, such as USD"))
    currency_digits = forms.IntegerField(
        min_value=0,
        max_value=3,
        label=_lazy("Digits of the minor unit"),
        help_text=_lazy("cents: 2"),
    )
    ask_reason_after_s = forms.IntegerField(
        min_value=30,
        max_value=7200,
        label=_lazy("Ask why after"),
        help_text=_lazy("seconds of standing still"),
    )
    run_gap_s = forms.IntegerField(
        min_value=60,
        max_value=86400,
        label=_lazy("A run ends after"),
        help_text=_lazy("seconds without an arc, where nobody pressed"),
    )
    pit_limit_mm = LengthField(
        min_value=0.1,
        max_value=5,
        label=_lazy("Electrode due at a pit of"),
        help_text=_lazy(
            "1.6 mm (1/16 in) is common practice; the part's maker may give another limit"
        ),
    )
    failure_lost_min = forms.FloatField(
        min_value=0, max_value=1440, required=False,
        label=_lazy("A wear part’s failure stops, min"),
        help_text=_lazy("until the shop’s own failures say; blank: nobody knows"),
    )  # fmt: skip
    failure_cut = forms.DecimalField(
        min_value=0, max_digits=12, decimal_places=3, required=False, label=_lazy("and spoils"),
        help_text=_lazy("what the spoilt parts cost; 0 where it spoils none"),
    )  # fmt: skip
    remnant_factor = forms.FloatField(
        min_value=0,
        max_value=1,
        label=_lazy("A remnant is worth"),
        help_text=_lazy("of its share of the sheet"),
    )
    remnant_min_m2 = AreaField(
        min_value=0,
        max_value=100,
        label=_lazy("From an area of"),
        help_text=_lazy("smaller ones are scrap"),
    )
    scrap_kg = PriceByWeightField(
        min_value=0,
        max_digits=9,
        decimal_places=3,
        required=False,
        label=_lazy("Scrap brings, a kg"),
        label_lb=_lazy("Scrap brings, a lb"),
    )
    remnant_days = forms.IntegerField(
        min_value=1, max_value=3650, label=_lazy("Remnants are kept, days"),
        help_text=_lazy("after that they may be written off, to the shop"),
    )  # fmt: skip
    journal_days = forms.IntegerField(
        min_value=90,
        max_value=32_000,
        required=False,
        label=_lazy("The journal is kept, days"),
        help_text=_lazy(
            "blank: for ever. Older lines are deleted from it; what was made of them stays"
        ),
    )

    def clean_scrap_kg(self) -> Decimal | None:
        """Left as it is shown, it stays to the last digit."""
        told: Decimal | None = self.cleaned_data["scrap_kg"]
        return told if "scrap_kg" in self.changed_data else self.initial.get("scrap_kg", told)


class ShiftForm(forms.Form):
    name = forms.CharField(max_length=40)
    start = forms.TimeField(help_text="06:00")
    end = forms.TimeField(help_text=_lazy("an end before the start is the next morning"))
    weekdays = forms.MultipleChoiceField(
        widget=forms.CheckboxSelectMultiple,
        choices=[(str(n), _lazy(day)) for n, day in enumerate(DAYS, 1)],
        initial=list("12345"),
        label=_lazy("Weekdays"),
        help_text=_lazy("of its start"),
    )
    valid_from = DayField(label=_lazy("From"))
    breaks = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 2}), required=False, help_text=_lazy("10:00 15 break")
    )

    tables = forms.MultipleChoiceField(
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text=_lazy("none named: all of them"),
    )

    def clean_weekdays(self) -> str:
        return "".join(self.cleaned_data["weekdays"])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Table.objects.filter(active=True).order_by("order", "name")
        field = cast(forms.MultipleChoiceField, self.fields["tables"])
        field.choices = list(rows.values_list("code", "name"))


def reason_kinds() -> list[tuple[str, str]]:
    return [(kind, str(kind.label)) for kind in ReasonKind]


class ReasonForm(forms.Form):
    label = forms.CharField(max_length=60, label=_lazy("Reason"))
    kind = forms.ChoiceField(
        label=_lazy("What it is"),
        choices=reason_kinds,
        help_text=_lazy(
            "What is planned is held against nobody; a set change is set-up time; a torch crash "
            "is charged apart."
        ),
    )


def rules_keep(
    *,
    remnant_min_m2: float,
    scrap_kg: Decimal | None,
    failure_cut: Decimal | None = None,
    **values: object,
) -> None:
    shop_set(
        remnant_min_mm2=round(remnant_min_m2 * 1e6),
        scrap_minor_kg=to_minor(scrap_kg),
        failure_cut_minor=to_minor(failure_cut),
        **values,
    )


def rules_known() -> dict[str, object]:
    """The shop's rules as their form shows them."""
    known = the_shop()
    return {
        **{name: getattr(known, name) for name in RULES},
        "remnant_min_m2": known.remnant_min_mm2 / 1e6,
        "scrap_kg": from_minor(known.scrap_minor_kg),
        "failure_cut": from_minor(known.failure_cut_minor),
    }


@administrator
def shop(request: DeskRequest) -> HttpResponse:
    """Three forms on one page; `which` says which of them was sent."""
    which = request.POST.get("which", "")
    data = request.POST or None
    forms_shown = {
        "rules": ShopForm(
            data if which == "rules" else None,
            initial=rules_known(),
        ),
        "shift": ShiftForm(
            data if which == "shift" else None, initial={"valid_from": timezone.localdate()}
        ),
        "reason": ReasonForm(data if which == "reason" else None),
    }
    read_in(forms_shown["rules"], inch=request.user.units == Units.INCH)
    writes: dict[str, Callable[..., object]] = {
        "rules": rules_keep,
        "shift": shift_add,
        "reason": reason_add,
    }
    form = forms_shown.get(which)
    if form is not None and form.is_valid():
        values = form.cleaned_data
        rules = which == "rules" and the_shop().pk
        if kept_as_shown(
            request, form, the_shop() if rules else None, rules_known if rules else dict,
            lambda: writes[which](**values),
        ):  # fmt: skip
            messages.success(request, _("Kept."))
            return redirect("shop")
    rows = {
        "shifts": Shift.objects.filter(added=False).order_by("name", "valid_from"),
        "reasons": [
            (reason, ReasonKind(reason.kind).label) for reason in Reason.objects.filter(active=True)
        ],
    }
    carried = {"shown": shown(forms_shown["rules"], the_shop(), rules_known())}
    return render(request, "site/shop.html", {**forms_shown, **rows, **carried})


@administrator
@require_POST
def end_shift(request: DeskRequest, pk: int) -> HttpResponse:
    shift = get_object_or_404(Shift, pk=pk)
    try:
        shift_end(shift=shift, last_day=timezone.localdate())
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    return redirect("shop")


@administrator
@require_POST
def usual_reasons(request: DeskRequest) -> HttpResponse:
    for label, kind in USUAL_REASONS:
        reason_add(label=_(label), kind=kind)
    return redirect("shop")


@administrator
@require_POST
def retire_reason(request: DeskRequest, pk: int) -> HttpResponse:
    reason_retire(reason=get_object_or_404(Reason, pk=pk))
    return redirect("shop")
