"""Accepting the pauses that a table's own runs show."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from shopfloor.models import Table
from shopfloor.runs.table_pauses import pauses_accept
from shopfloor.web.access import CHART, DeskRequest, right
from shopfloor.web.forms import attempt


class PausesForm(forms.Form):
    settle_s = forms.FloatField(required=False, label=_lazy("Settling, s"))
    touch_off_s = forms.FloatField(required=False, label=_lazy("Touch-off, s"))
    why = forms.CharField(max_length=200)


@right(CHART)
@require_POST
def accept(request: DeskRequest, pk: int) -> HttpResponse:
    table = get_object_or_404(Table, pk=pk)
    form = PausesForm(request.POST)
    if form.is_valid() and attempt(form, lambda: _accepted(table, form)):
        messages.success(request, _("In use from now on. Nests are planned again."))
    for problem in form.errors.values():
        messages.error(request, " ".join(str(one) for one in problem))
    return redirect("table_figures", pk)


def _accepted(table: Table, form: PausesForm) -> None:
    told = dict(form.cleaned_data)
    why = told.pop("why")
    shown = {name: value for name, value in told.items() if value is not None}
    pauses_accept(table=table, shown=shown, why=why)
