"""Quotes as they stand, what has moved beneath them, and how they fared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Sum

from planning.calc.cost import rounded
from planning.calc.quote import Score, Split, material_split, score
from planning.inputs.rates import rate_book
from planning.reports.frames import currency
from planning.services.quote_pricing import sheet_price
from shopfloor.models import (
    Drawing,
    JobState,
    Nest,
    Posting,
    Quote,
    QuoteLine,
    QuoteState,
    Run,
    RunState,
    SetPart,
)
from shopfloor.selectors.shop import shift_date_of

RATED = ("machine", "labour", "bench", "gas", "energy")


@dataclass(frozen=True, slots=True)
class QuoteRow:
    """One quote at its newest revision. `moved` says what has changed since its price date,
    `late` that its validity is over. `actual_minor` is what the job cost without material (None:
    no job, or it is still open), `allowed_minor` what the quote reckoned with for just that."""

    quote: Quote
    moved: tuple[str, ...]
    late: bool
    allowed_minor: int | None
    actual_minor: int | None
    material: Split | None

    @property
    def overran(self) -> bool | None:
        if self.allowed_minor is None or self.actual_minor is None:
            return None
        return self.actual_minor > self.allowed_minor


@dataclass(frozen=True)
class QuoteBoard:
    rows: tuple[QuoteRow, ...]
    score: Score | None
    money: dict[str, Any]


@dataclass(frozen=True)
class QuoteDetail:
    row: QuoteRow
    lines: tuple[QuoteLine, ...]
    revisions: tuple[Quote, ...]
    newest: bool
    money: dict[str, Any]


def quote_board(*, now: datetime) -> QuoteBoard:
    """Every quote's newest revision, the newest first, and how closed ones were kept."""
    quotes = list(
        Quote.objects.select_related("customer", "job")
        .prefetch_related("lines__revision__nest__material", "lines__drawing__drawing__material")
        .order_by("number", "revision")
    )
    newest = {quote.number: quote for quote in quotes}
    rows = [_row(quote, now) for quote in reversed(newest.values())]
    judged = [(row.quote.overrun_chance, row.overran) for row in rows if row.overran is not None]
    return QuoteBoard(tuple(rows), score(judged), currency())


def quote_detail(*, quote_id: int, now: datetime) -> QuoteDetail:
    """One revision. Raises `LookupError` where there is none."""
    quote = Quote.objects.filter(pk=quote_id).select_related("customer", "job", "made_by").first()
    if quote is None:
        raise LookupError(f"there is no quote {quote_id}")
    lines = tuple(
        quote.lines.select_related(
            "revision__nest__material", "drawing__drawing__material", "table", "wear_set"
        )
    )
    revisions = tuple(Quote.objects.filter(number=quote.number).order_by("-revision"))
    return QuoteDetail(_row(quote, now), lines, revisions, revisions[0].pk == quote.pk, currency())


def _row(quote: Quote, now: datetime) -> QuoteRow:
    lines = list(quote.lines.all())
    still_open = quote.state == QuoteState.OPEN
    amounts = [line.cost_minor for line in lines]
    known = all(amount is not None for amount in amounts)
    return QuoteRow(
        quote=quote,
        moved=tuple(_moved(lines, now)) if still_open else (),
        late=still_open and quote.valid_until < shift_date_of(now),
        allowed_minor=sum(amount or 0 for amount in amounts) if known else None,
        actual_minor=_actual(quote),
        material=_material(quote, lines),
    )


def _moved(lines: Sequence[QuoteLine], now: datetime) -> list[str]:
    """What of the rates, the wear parts or the sheet is not as it was priced."""
    found: dict[str, None] = {}
    rates, day = rate_book(), shift_date_of(now)
    for line in lines:
        of = line_of(line)
        for kind in RATED:
            was = (line.made_from.get("rates", {}).get(kind) or {}).get("minor")
            rate = rates.on(kind, day, line.table_id)
            costs = rate.amount_minor if rate else None
            if was != costs:
                found[f"{kind} {_change(was, costs)}"] = None
        parts = {part["part"]: part["price_minor"] for part in line.made_from.get("wear", ())}
        for name, price in SetPart.objects.filter(wear_set=line.wear_set_id).values_list(
            "name", "price_minor"
        ):
            if parts.get(name) != price:
                found[f"{name} {_change(parts.get(name), price)}"] = None
        sheet = sheet_price(of)
        was = (line.made_from.get("sheet") or {}).get("minor")
        costs = sheet.cost_minor if sheet else None
        if was != costs:
            found[f"{of.material.code} {of.thickness_text} sheet {_change(was, costs)}"] = None
    return list(found)


def line_of(line: QuoteLine) -> Nest | Drawing:
    """What a line is of."""
    if line.drawing is not None:
        return line.drawing.drawing
    if line.revision is None:
        raise LookupError(f"line {line.pk} names neither nest nor drawing")
    return line.revision.nest


def _change(was: int | None, now: int | None) -> str:
    if was is None or now is None:
        return "is known now" if was is None else "is not known any more"
    share = abs(now - was) / was if was else 0.0
    return f"{'dearer' if now > was else 'cheaper'} by {share:.1%}"


def _actual(quote: Quote) -> int | None:
    """What a won quote's closed job cost, material apart."""
    if quote.job is None or quote.job.state != JobState.CLOSED:
        return None
    amount = Posting.objects.filter(line__job=quote.job).exclude(kind__in=("material", "credit"))
    found: int | None = amount.aggregate(all=Sum("amount_minor"))["all"]
    return found


def _material(quote: Quote, lines: Sequence[QuoteLine]) -> Split | None:
    """Sheets quoted against sheets burnt, where both prices are known and all is of one kind."""
    if _actual(quote) is None or len(lines) != 1 or lines[0].material_minor is None:
        return None
    share = lines[0].made_from.get("sheets_share")
    quoted = lines[0].sheets if share is None else share
    runs = Run.objects.filter(
        revision__contours__line__job=quote.job, state=RunState.FINISHED
    ).distinct()
    costs = dict(runs.exclude(sheet=None).values_list("sheet_id", "sheet__cost_minor"))
    if not costs or any(cost is None for cost in costs.values()):
        return None
    each = sum(cost or 0 for cost in costs.values()) / len(costs)
    found = material_split(lines[0].material_minor / quoted, quoted, each, len(costs))
    whole = sum(cost or 0 for cost in costs.values()) - lines[0].material_minor
    return Split(rounded(found.price), whole - rounded(found.price))
