"""What an hour costs from a day on, and putting right a rate that has not been paid with yet."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from planning.calc.dates import dated
from shopfloor.books.queries import WAGES, rates_list
from shopfloor.books.rates import rate_correct, rate_set
from shopfloor.models import Rate, RateKind, Table
from shopfloor.web.access import CHART, COST, WAGE, DeskRequest, may, right
from shopfloor.web.forms import DayField, attempt, from_minor, money_field, to_minor
from shopfloor.web.shown_values import kept_as_shown, shown


class RateForm(forms.Form):
    kind = forms.ChoiceField()
    table = forms.ModelChoiceField(
        Table.objects.filter(active=True), required=False, empty_label=_lazy("all tables")
    )
    valid_from = DayField(label=_lazy("From"))
    note = forms.CharField(max_length=200, required=False)

    def __init__(self, *args: Any, wages: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kind = self.fields["kind"]
        if isinstance(kind, forms.ChoiceField):
            kind.choices = [c for c in RateKind.choices if wages or c[0] not in WAGES]
        self.fields["amount"] = money_field(_("Amount"), required=True)
        self.fields["apply"] = forms.BooleanField(
            required=False,
            label=_("Apply it to what was booked since that day"),
            help_text=_(
                "All of it is worked out again; the differences are entries with your name"
            ),
        )


class CorrectForm(forms.Form):
    why = forms.CharField(max_length=200, help_text=_lazy("kept beside the change"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["amount"] = money_field(_("Amount"), required=True)
        self.order_fields(["amount", "why"])


@right(COST, WAGE)
def rates(request: DeskRequest) -> HttpResponse:
    """Rates from a day on. Wages only for those who may see them; changes take the chart right."""
    wages, may_edit = may(request.user, WAGE), may(request.user, CHART)
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    form = (
        RateForm(request.POST or None, wages=wages, initial=_asked(request)) if may_edit else None
    )
    if form is not None and request.method == "POST" and form.is_valid():
        values = dict(form.cleaned_data)
        amount = to_minor(values.pop("amount")) or 0
        if attempt(form, lambda: rate_set(amount_minor=amount, by=request.user, **values)):
            return redirect("rates")
    today = timezone.localdate()
    return render(
        request, "books/rates.html",
        {"rates": rates_list(wages=wages, today=today), "form": form, "wages": wages,
         "today": today},
    )  # fmt: skip


def _asked(request: DeskRequest) -> dict[str, str]:
    """What another page puts into the form of a new rate; it is judged as if it were typed."""
    return {name: request.GET[name][:40] for name in ("kind", "amount") if name in request.GET}


def _known(pk: int) -> dict[str, Any]:
    return {"amount": from_minor(Rate.objects.values_list("amount_minor", flat=True).get(pk=pk))}


@right(CHART)
def correct(request: DeskRequest, pk: int) -> HttpResponse:
    """The amount of a rate that begins today or later. A wage takes the right to see it."""
    rate = get_object_or_404(Rate.objects.select_related("table"), pk=pk)
    if not may(request.user, COST, WAGE) or (rate.kind in WAGES and not may(request.user, WAGE)):
        raise PermissionDenied
    form = CorrectForm(request.POST or None, initial=_known(pk))
    if request.method == "POST" and form.is_valid():
        amount, why = to_minor(form.cleaned_data["amount"]) or 0, form.cleaned_data["why"]
        if kept_as_shown(
            request, form, rate, lambda: _known(pk),
            lambda: rate_correct(rate=rate, amount_minor=amount, why=why, by=request.user),
        ):  # fmt: skip
            messages.success(request, _("Corrected. Today’s runs are worked out again."))
            return redirect("rates")
    heading = _("{label}, from {valid_from}").format(
        label=RateKind(rate.kind).label, valid_from=dated(rate.valid_from)
    )
    return render(
        request,
        "web/form.html",
        {
            "form": form,
            "heading": heading,
            "sub": rate.table.name if rate.table else _("all tables"),
            "submit": _("Correct it"),
            "back": "rates",
            "shown": shown(form, rate, _known(pk)),
        },
    )
