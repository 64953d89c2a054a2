"""Making a tray up of a set's pieces."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.models import WearSet
from shopfloor.wear.trays import tray_make_up
from shopfloor.web.access import CHART, FLOOR, PLAN, DeskRequest, right
from shopfloor.web.forms import attempt


class TrayForm(forms.Form):
    label = forms.CharField(
        max_length=40, help_text=_lazy("as on the tray, to be scanned; the same again fills it up")
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
        messages.success(
            request, _("Tray {label} is made up.").format(label=form.cleaned_data["label"])
        )
        return redirect("set", pk)
    return render(
        request, "web/form.html",
        {"form": form, "heading": str(wear_set).capitalize(), "sub": _("a tray of its pieces"),
         "submit": _("Make it up"), "back": "set", "back_pk": pk},
    )  # fmt: skip
