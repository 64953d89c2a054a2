"""A table made before it has a signal source, and its name changed."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.audit.row_versions import version_of
from shopfloor.models import Table
from shopfloor.site.tables import table_add, table_rename
from shopfloor.web.access import CHART, FEEDS, DeskRequest, right
from shopfloor.web.edit_conflicts import saved_unless_changed
from shopfloor.web.forms import attempt


class NameForm(forms.Form):
    name = forms.CharField(max_length=80, help_text=_lazy("As it is called in the shop: North"))


class AddForm(NameForm):
    code = forms.SlugField(
        max_length=40, required=False,
        help_text=_lazy("As its signal source will call it; blank: made of the name"),
    )  # fmt: skip


@right(CHART, FEEDS)
def add(request: DeskRequest) -> HttpResponse:
    form = AddForm(request.POST or None)
    made: list[Table] = []
    if (
        request.method == "POST"
        and form.is_valid()
        and attempt(form, lambda: made.append(table_add(**form.cleaned_data)))
    ):
        messages.success(request, _("{name} is there. Set how it moves.").format(name=made[0].name))
        return redirect("table_figures", made[0].pk)
    return render(
        request, "web/form.html",
        {"form": form, "heading": _("A new table"), "submit": _("Add the table"), "back": "tables"},
    )  # fmt: skip


@right(CHART, FEEDS)
def rename(request: DeskRequest, pk: int) -> HttpResponse:
    seen = version_of(Table, pk)
    table = get_object_or_404(Table, pk=pk)
    form = NameForm(request.POST or None, initial={"name": table.name})
    if (
        request.method == "POST"
        and form.is_valid()
        and saved_unless_changed(
            request, form, table, lambda: table_rename(table=table, **form.cleaned_data)
        )
    ):
        return redirect("table_figures", pk)
    return render(
        request,
        "web/form.html",
        {
            "form": form,
            "heading": table.name,
            "sub": _("another name"),
            "submit": _("Save the name"),
            "back": "table_figures",
            "back_pk": pk,
            "seen": seen,
        },
    )
