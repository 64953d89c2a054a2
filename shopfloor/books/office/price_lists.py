"""Prices, rates and bench minutes as a file."""

from __future__ import annotations

from dataclasses import replace

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from planning.calc.said import to_reader
from shopfloor.books.price_lists import KINDS, prices_bring
from shopfloor.files.fault import Fault
from shopfloor.files.read_list import ENCODINGS, MAX_BYTES, ListError
from shopfloor.web.access import CHART, WAGE, DeskRequest, may, right
from shopfloor.web.forms import refused, upload_bytes
from shopfloor.wording.counts import count


class PricesForm(forms.Form):
    kind = forms.ChoiceField(
        choices=[(k, _lazy(one.label)) for k, one in KINDS.items()], label=_lazy("List of")
    )
    file = forms.FileField(help_text=_lazy("CSV (comma, semicolon or tab) or XLSX"))
    encoding = forms.ChoiceField(choices=[(c, c) for c in ENCODINGS], label=_lazy("Letters in"))


@right(CHART)
def bring(request: DeskRequest) -> HttpResponse:
    form = PricesForm(request.POST or None, request.FILES or None)
    faults: list[Fault] = []
    if request.method == "POST" and form.is_valid():
        told, name = form.cleaned_data, form.cleaned_data["file"].name or "list"
        try:
            raw = upload_bytes(told["file"], MAX_BYTES)
            written, faults = prices_bring(
                raw, kind=told["kind"], encoding=told["encoding"], wages=may(request.user, WAGE)
            )
        except ListError as problem:
            form.add_error(
                "file", f"{name}:{problem.line}: {to_reader(problem.message, inch=False)}"
            )
        except ValidationError as problem:
            refused(form, problem)
        else:
            if not faults:
                messages.success(
                    request,
                    _("{name}: {rows} written.").format(
                        name=name, rows=count(written, "{n} row", "{n} rows")
                    ),
                )
                return redirect("prices_bring")
            form.add_error(
                "file", _("Nothing was written: correct the rows below and send it again.")
            )
    return render(
        request,
        "books/prices.html",
        {
            "form": form,
            "faults": faults,
            "kinds": [replace(one, label=_(one.label)) for one in KINDS.values()],
        },
    )
