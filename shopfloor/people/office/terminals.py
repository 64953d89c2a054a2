"""The shared screens beside the tables. A code is shown once, to be typed or
scanned at the screen."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from shopfloor.models import Table, Terminal
from shopfloor.people.badges import terminal_retire
from shopfloor.people.screen_codes import screen_code_make
from shopfloor.runs.usual import screen_usual
from shopfloor.svg.codes import code_svg
from shopfloor.web.access import DeskRequest, administrator
from shopfloor.web.forms import attempt


class TerminalForm(forms.Form):
    code = forms.SlugField(
        max_length=40, help_text=_lazy("north-tablet; the same again registers it again")
    )
    name = forms.CharField(max_length=80)
    table = forms.ModelChoiceField(
        Table.objects.filter(active=True), required=False, empty_label=_lazy("any table")
    )


@administrator
@never_cache
def terminals(request: DeskRequest) -> HttpResponse:
    form = TerminalForm(request.POST or None, initial=screen_usual())
    made: list[tuple[Terminal, str]] = []
    if request.method == "POST" and form.is_valid():
        given = {**form.cleaned_data, "now": timezone.now()}
        attempt(form, lambda: made.append(screen_code_make(**given)))
    return render(
        request,
        "people/terminals.html",
        {
            "form": form, "terminals": Terminal.objects.select_related("table").order_by("name"),
            "made": made[0] if made else None,
            "printed": code_svg(made[0][1]) if made else "",
        },
    )  # fmt: skip


@administrator
@require_POST
def retire(request: DeskRequest, pk: int) -> HttpResponse:
    terminal = get_object_or_404(Terminal, pk=pk)
    terminal_retire(terminal=terminal)
    messages.success(
        request, _("{terminal} is withdrawn and opens nothing now.").format(terminal=terminal.name)
    )
    return redirect("terminals")
