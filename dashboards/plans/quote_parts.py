"""A quote of a list of parts: a line for each drawing, on its fastest route or a chosen one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from dashboards import data
from dashboards.access import desk
from dashboards.plans.quotes import about, chances, minutes, quotes_only, whole
from planning.calc.said import to_reader, told
from planning.services.quote_parts import PartWanted, parts_asked
from planning.services.quotes import QuoteError, quote_make
from shopfloor.drawings.queries import PartToQuote
from shopfloor.people.rights import MARGIN, QUOTES
from shopfloor.wording.numbers_in import row_number

MOST_PARTS: Final = 100


@dataclass(frozen=True, slots=True)
class Row:
    """A part, and what the form says of it: 0 or blank leaves it out."""

    part: PartToQuote
    quantity: str
    route: str


@desk(MARGIN, QUOTES)
@require_http_methods(["GET", "POST"])
def make(request: HttpRequest) -> HttpResponseBase:
    quotes_only(request)
    found = data.parts_to_quote(_wanted(request))
    said = request.POST
    rows = [
        Row(
            part,
            said.get(f"parts{part.drawing.pk}", str(part.quantity)),
            said.get(f"route{part.drawing.pk}", ""),
        )
        for part in found
    ]
    if request.method == "POST":
        try:
            return redirect("quote", quote_id=_made(request, rows))
        except QuoteError as refused:
            messages.error(request, to_reader(told(refused), inch=False))
    context = {"rows": rows, "chances": chances(), "said": said}
    return render(request, "kerfbook/quote_parts.html", context)


def _wanted(request: HttpRequest) -> dict[int, int]:
    """`part=drawing.quantity`, once a part, from the address: so it can be opened again."""
    found: dict[int, int] = {}
    for text in request.GET.getlist("part")[:MOST_PARTS]:
        drawing, _dot, quantity = text.partition(".")
        pk, count = row_number(drawing), row_number(quantity)
        if pk is not None and count is not None:
            found[pk] = count
    return found


def _made(request: HttpRequest, rows: list[Row]) -> int:
    user: Any = request.user
    now = data.now()
    wanted = [
        PartWanted(row.part.drawing.pk, quantity, *_route(row.route))
        for row in rows
        if row.quantity.strip() and (quantity := whole(row.quantity, "parts"))
    ]
    if not wanted:
        raise QuoteError(_("Say how many of at least one part."))
    lines = parts_asked(wanted, now=now, setup_min=minutes(request.POST.get("setup", "")))
    return quote_make(**about(request), lines=lines, by=user, now=now).pk


def _route(text: str) -> tuple[int, int] | tuple[None, None]:
    """ "table-set"; blank: the fastest."""
    if not text:
        return None, None
    table, _dash, wear_set = text.partition("-")
    keys = row_number(table), row_number(wear_set)
    if keys[0] is None or keys[1] is None:
        raise QuoteError(_("{route!r} is not a table and a set.").format(route=text[:60]))
    return keys[0], keys[1]
