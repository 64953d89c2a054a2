"""Help at the table. It shows nothing of the shop, so it asks for no sign-in."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from shopfloor.models import Table
from shopfloor.web.help_text import OPERATOR


@require_GET
def help_page(request: HttpRequest) -> HttpResponse:
    """`?at=` names the table to go back to."""
    table = Table.objects.filter(code=request.GET.get("at", "")[:60]).first()
    back = reverse("floor:table", args=[table.code]) if table else reverse("floor:home")
    return render(request, "terminal/help.html", {"help": OPERATOR.to_reader(), "back": back})
