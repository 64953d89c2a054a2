"""Quotes: the list with how they fared, a new one, one opened."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_http_methods, require_safe

from dashboards import data, theme
from dashboards.access import desk, reader_of
from planning.calc.numbers import filled, written
from planning.calc.quote import Score
from planning.calc.said import to_reader, told
from planning.services.quote_breaks import quantities_of
from planning.services.quote_take import quote_take
from planning.services.quotes import (
    CHANCES,
    MOST,
    Asked,
    LineAsked,
    PartsAsked,
    QuoteError,
    quote_decide,
    quote_found,
    quote_make,
    quote_revise,
)
from shopfloor.jobs.list_rows import RowError, money_of
from shopfloor.people.rights import MARGIN, QUOTES
from shopfloor.wording.numbers_in import row_number

ROWS = range(1, 5)  # nests, and drawings, a quote's form has room for
MOST_DAYS = 365
MOST_SETUP_MIN = 1440
REASONS = (
    _lazy("price"), _lazy("delivery"), _lazy("no answer"), _lazy("order put off"),
    _lazy("asked again"),
)  # fmt: skip
STATES = {"": "all", "open": "open", "won": "won", "lost": "lost"}


@desk(MARGIN, QUOTES)
@require_safe
def board(request: HttpRequest) -> HttpResponseBase:
    quotes_only(request)
    text = request.GET.get("q", "").strip()[:80]
    state = request.GET.get("state", "")
    found = data.quote_board(
        data.now(), text=text, state=state if state in STATES else "",
        page=request.GET.get("page", ""),
    )  # fmt: skip
    context = {
        "found": found, "page_obj": found.page, "lede": lede(found.score, found.moved),
        "text": text, "state": state, "states": STATES,
    }  # fmt: skip
    return render(request, "kerfbook/quotes.html", context)


@desk(MARGIN, QUOTES)
@require_http_methods(["GET", "POST"])
def make(request: HttpRequest) -> HttpResponseBase:
    quotes_only(request)
    if request.method == "POST":
        user: Any = request.user
        try:
            made = quote_make(**_asked(request), by=user, now=data.now())
        except QuoteError as refused:
            messages.error(request, to_reader(told(refused), inch=False))
        else:
            return redirect("quote", quote_id=made.pk)
    context = {
        "nests": data.nests_to_choose(),
        "rows": _rows(request, "nest", "sheets"),
        "drawings": data.drawings_to_choose(),
        "part_rows": _rows(request, "drawing", "parts"),
        "chances": chances(),
        "said": request.POST,
    }
    return render(request, "kerfbook/quote_make.html", context)


def chances() -> list[tuple[str, str]]:
    return [
        (str(chance), filled(_("{chance:.0f} in 100"), chance=chance * 100)) for chance in CHANCES
    ]


def _rows(request: HttpRequest, what: str, count: str) -> list[tuple[int, str, str, str]]:
    """What the form's rows said, to stand there again."""
    said = request.POST
    return [
        (
            row, said.get(f"{what}{row}", ""), said.get(f"{count}{row}", "1"),
            said.get(f"also_{count}{row}", ""),
        )
        for row in ROWS
    ]  # fmt: skip


@desk(MARGIN, QUOTES)
@require_http_methods(["GET", "POST"])
def quote(request: HttpRequest, quote_id: int) -> HttpResponseBase:
    quotes_only(request)
    if request.method == "POST":
        return _action(request, quote_id)
    try:
        found = data.quote_detail(quote_id, data.now())
    except LookupError as missing:
        raise Http404(str(missing)) from missing
    chance = written(found.row.quote.overrun_chance * 100, ".0f")
    context = {"found": found, "row": found.row, "chance": chance, "reasons": REASONS}
    return render(request, "kerfbook/quote.html", context)


def _action(request: HttpRequest, quote_id: int) -> HttpResponseBase:
    user: Any = request.user
    do, said = request.POST.get("do", ""), request.POST
    try:
        row = quote_found(quote_id=quote_id)
        if do == "revise":
            row = quote_revise(quote=row, by=user, now=data.now())
        elif do == "take":
            quote_take(
                quote=row, by=user, now=data.now(), why=said.get("why", ""),
                number=said.get("job", ""),
            )  # fmt: skip
        elif do in ("won", "lost"):
            quote_decide(
                quote=row, won=do == "won", by=user, now=data.now(), why=said.get("why", ""),
                job_number=said.get("job", ""),
            )  # fmt: skip
    except QuoteError as refused:
        messages.error(request, to_reader(told(refused), inch=False))
    return redirect("quote", quote_id=row.pk if do == "revise" else quote_id)


def _asked(request: HttpRequest) -> dict[str, Any]:
    """What the form says. Raises `QuoteError` for figures that are none."""
    said = request.POST
    setup = minutes(said.get("setup", ""))
    lines: list[Asked] = [
        LineAsked(
            _nest(said[f"nest{row}"]),
            whole(said.get(f"sheets{row}"), "sheets"),
            _breaks(said.get(f"also_sheets{row}")),
            setup,
        )
        for row in ROWS
        if said.get(f"nest{row}")
    ]
    lines += [
        replace(
            _parts(_route(said[f"drawing{row}"]), said.get(f"parts{row}")),
            breaks=_breaks(said.get(f"also_parts{row}")),
            setup_min=setup,
        )
        for row in ROWS
        if said.get(f"drawing{row}")
    ]
    return about(request) | {"lines": lines}


def about(request: HttpRequest) -> dict[str, Any]:
    """For whom a quote is, what, at which chance, for how long, at which price. Raises
    `QuoteError`."""
    said = request.POST
    chance = said.get("chance", "")
    if chance not in {str(one) for one in CHANCES}:
        raise QuoteError(_("Choose a chance of an overrun."))
    days = whole(said.get("days"), "days")
    if not 1 <= days <= MOST_DAYS:
        raise QuoteError(_("It is valid for 1 to {most_days} days.").format(most_days=MOST_DAYS))
    return {
        "customer": said.get("customer", ""),
        "title": said.get("title", ""),
        "chance": float(chance),
        "valid_days": days,
        "price_minor": _price(said.get("price", "")),
    }


def _nest(text: str) -> int:
    """A nest by its name, or as the list offers it."""
    found = data.nest_chosen(text)
    if found is None:
        raise QuoteError(_("There is no nest {nest!r} in use.").format(nest=text.strip()))
    return found


def _route(text: str) -> str:
    """A drawing by its name or as the list offers it; else what was typed, a route perhaps."""
    return data.drawing_chosen(text) or text


def _parts(route: str, parts: str | None) -> PartsAsked:
    """ "drawing-table-set" and how many."""
    keys = [key for key in map(row_number, route.strip().split("-")) if key is not None]
    if len(keys) != 3:
        raise QuoteError(
            _("{route!r} is not a drawing with a table and a set.").format(route=route[:60])
        )
    return PartsAsked(keys[0], keys[1], keys[2], whole(parts, "parts"))


def _breaks(text: str | None) -> tuple[int, ...]:
    """Other quantities to be priced, as typed."""
    try:
        return quantities_of(text or "", MOST)
    except ValueError as refused:
        raise QuoteError(str(refused)) from refused


def minutes(text: str) -> float:
    """Minutes of set-up; blank: none."""
    if not text.strip():
        return 0.0
    found = row_number(text.strip())
    if found is None or not 0 <= found <= MOST_SETUP_MIN:
        raise QuoteError(_("{text!r} is not a number of minutes.").format(text=text[:20]))
    return float(found)


def whole(text: str | None, what: str) -> int:
    found = row_number((text or "").strip())
    if found is None:
        raise QuoteError(
            _("{text!r} is not a number of {what}.").format(text=(text or "")[:20], what=what)
        )
    return found


def _price(text: str) -> int | None:
    """An amount as typed, in minor units; blank: what it comes to."""
    try:
        amount = money_of(text)
    except RowError:
        raise QuoteError(
            _("{text!r} is not a price; write it like 1250.00.").format(text=text[:30])
        ) from None
    if amount is None:
        return None
    scaled = amount.scaleb(data.currency()[1])
    if scaled != scaled.to_integral_value():
        raise QuoteError(
            _("{text!r} is not a price: the currency has fewer places.").format(text=text)
        )
    return int(scaled)


def quotes_only(request: HttpRequest) -> None:
    """A quote gives cost and margin away: it takes the right to make them, or both rights."""
    if not reader_of(request.user).quotes:
        raise PermissionDenied


def lede(score: Score | None, moved: int) -> str:
    """What is wrong, then how the promise was kept."""
    kept = _kept(score)
    if not moved:
        return kept
    stale = theme.count(
        moved,
        "{n} open quote was made at prices that have changed since.",
        "{n} open quotes were made at prices that have changed since.",
    )
    return f"{stale} {kept}"


def _kept(score: Score | None) -> str:
    if score is None:
        return _("No quote has become a closed job yet: nothing can be said of overruns.")
    verdict = {True: _("as promised"), False: _("not as promised"), None: _("too few to tell")}[
        score.as_promised
    ]
    return _(
        "Of the last {n} quotes whose jobs are closed, {overruns} took more than said; "
        "{low} to {high} would be chance: {verdict}."
    ).format(n=score.n, overruns=score.overruns, low=score.low, high=score.high, verdict=verdict)
