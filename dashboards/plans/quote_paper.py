"""The page of a quote for the customer, and what it says besides prices."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from dashboards import data
from dashboards.access import desk
from dashboards.plans.quotes import quotes_only
from planning.calc.said import to_reader, told
from planning.services.quote_words import TEXTS, quote_words
from planning.services.quotes import QuoteError, quote_found
from shopfloor.people.rights import MARGIN, QUOTES
from shopfloor.wording.numbers_in import row_number


@desk(MARGIN, QUOTES)
@require_safe
def paper(request: HttpRequest, quote_id: int) -> HttpResponseBase:
    quotes_only(request)
    try:
        found = data.quote_paper(quote_id, data.now())
    except LookupError as missing:
        raise Http404(str(missing)) from missing
    return render(request, "kerfbook/quote_paper.html", {"found": found, "quote": found.quote})


@desk(MARGIN, QUOTES)
@require_POST
def words(request: HttpRequest, quote_id: int) -> HttpResponseBase:
    """What is typed for the customer's page."""
    quotes_only(request)
    user: Any = request.user
    lines = {
        number: str(text)
        for key, text in request.POST.items()
        if key.startswith("line") and (number := row_number(key.removeprefix("line"))) is not None
    }
    try:
        quote_words(
            quote=quote_found(quote_id=quote_id), lines=lines, by=user,
            texts={name: request.POST.get(name, "") for name in TEXTS},
        )  # fmt: skip
    except QuoteError as refused:
        messages.error(request, to_reader(told(refused), inch=False))
        return redirect("quote", quote_id=quote_id)
    messages.success(request, _("Kept."))
    return redirect("quote_paper", quote_id=quote_id)
