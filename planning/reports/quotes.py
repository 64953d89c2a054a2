"""Quotes as they stand, what has moved beneath them, and how they fared."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import (
    Count,
    Exists,
    F,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Sum,
    prefetch_related_objects,
)
from django.db.models.functions import Length
from django.utils.translation import gettext as _

from planning.calc.quote import LATEST, Score, Split, score
from planning.inputs.chunks import chunked
from planning.reports.frames import currency
from planning.reports.quote_paper import default_words
from planning.reports.quote_prices import LinePrice, line_prices
from planning.reports.quote_stands import (
    Stands,
    costs_of,
    material_difference,
    moved_since,
    stands_of,
)
from planning.reports.quote_work import QuoteWork, quote_work
from shopfloor.models import (
    Job,
    JobState,
    Quote,
    QuoteLine,
    QuoteState,
)

REASONS = 5  # of quotes that were lost, on the list
PAGE = 50  # quotes on one page, as in the office's lists


@dataclass(frozen=True, slots=True)
class QuoteRow:
    """One quote at its newest revision. `moved` says what has changed since its price date,
    `expired` that its validity is over. `actual_minor` is what the job cost without material (None:
    no job, or it is still open), `allowed_minor` what the quote reckoned with for just that,
    set-ups included: their hours are posted like any others.
    `material` is asked for a quote opened alone, not in a list."""

    quote: Quote
    moved: tuple[str, ...]
    expired: bool
    allowed_minor: int | None
    actual_minor: int | None
    material: Split | None

    @property
    def overran(self) -> bool | None:
        if self.allowed_minor is None or self.actual_minor is None:
            return None
        return self.actual_minor > self.allowed_minor


@dataclass(frozen=True, slots=True)
class QuoteTotal:
    """Of all quotes found; `unknown` of them have no cost, or no price, and are not in it."""

    cost_minor: int
    price_minor: int
    unknown: int


@dataclass(frozen=True)
class QuoteBoard:
    """One page of the list: `rows` are those of `page`. `total` is given for open quotes alone: of
    decided ones there is no end. `score`, `moved` (how many open quotes stand at prices that have
    moved), `won`, `lost` and why (`reasons`, the most frequent first) are of all quotes, whatever
    is asked for."""

    rows: tuple[QuoteRow, ...]
    page: Page[Quote]
    score: Score | None
    moved: int
    money: dict[str, Any]
    total: QuoteTotal | None
    won: int
    lost: int
    reasons: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class QuoteDetail:
    """`words`: of each line its number, what the customer reads it is, and what is read where that
    is blank."""

    row: QuoteRow
    lines: tuple[QuoteLine, ...]
    revisions: tuple[Quote, ...]
    newest: bool
    money: dict[str, Any]
    work: QuoteWork | None
    breaks: tuple[LinePrice, ...]
    words: tuple[tuple[int, str, str], ...]

    @property
    def setup_minor(self) -> int:
        """Of all lines whose set-up has a price."""
        return sum(line.setup_minor or 0 for line in self.lines)


def quote_board(
    *, now: datetime, text: str = "", state: str = "", page: str | int | None = 1
) -> QuoteBoard:
    """Newest revisions, the newest quote first, and how closed ones were kept. `text` looks in
    number, title, customer and job; `state` blank: all; a page there is not is the nearest one."""
    asked = _asked(text, state)
    shown = Paginator(asked, PAGE).get_page(page)
    total = _total(asked) if state == QuoteState.OPEN else None
    still_open = list(_newest().filter(state=QuoteState.OPEN).only("number", "state"))
    listed = list(shown)
    _with_lines(listed, still_open)
    stands = Stands(now, _actual(quote.job for quote in listed))
    rows = tuple(_row(quote, stands) for quote in listed)
    moved = sum(bool(moved_since(list(quote.lines.all()), stands)) for quote in still_open)
    kept = score(_judged())
    won, lost, reasons = _decided()
    return QuoteBoard(rows, shown, kept, moved, currency(), total, won, lost, reasons)


def _decided() -> tuple[int, int, tuple[tuple[str, int], ...]]:
    decided = Quote.objects.exclude(state=QuoteState.OPEN).order_by()
    counts = dict(decided.values_list("state").annotate(count=Count("pk")))
    lost = decided.filter(state=QuoteState.LOST).exclude(why="")
    reasons = lost.values_list("why").annotate(count=Count("pk")).order_by("-count", "why")
    return (
        counts.get(QuoteState.WON, 0), counts.get(QuoteState.LOST, 0), tuple(reasons[:REASONS]),
    )  # fmt: skip


def _total(quotes: QuerySet[Quote]) -> QuoteTotal:
    known = Q(cost_minor__isnull=False, price_minor__isnull=False)
    found = quotes.order_by().aggregate(
        cost=Sum("cost_minor", filter=known),
        price=Sum("price_minor", filter=known),
        unknown=Count("pk", filter=~known),
    )
    return QuoteTotal(found["cost"] or 0, found["price"] or 0, found["unknown"])


def _newest() -> QuerySet[Quote]:
    later = Quote.objects.filter(number=OuterRef("number"), revision__gt=OuterRef("revision"))
    return Quote.objects.filter(~Exists(later)).order_by(Length("number").desc(), "-number")


def _asked(text: str, state: str) -> QuerySet[Quote]:
    quotes = _newest().select_related("customer", "job").defer("forecast", "unknown")
    if state:
        quotes = quotes.filter(state=state)
    if text:
        quotes = quotes.filter(
            Q(number__icontains=text)
            | Q(title__icontains=text)
            | Q(customer__name__icontains=text)
            | Q(job__number__icontains=text)
        )
    return quotes


def _with_lines(listed: Sequence[Quote], still_open: Sequence[Quote]) -> None:
    """Of open quotes the lines with all that prices are held against, of the others the amounts."""
    prefetch_related_objects(
        [*still_open, *(one for one in listed if one.state == QuoteState.OPEN)],
        Prefetch("lines", _lines()),
    )
    amounts = QuoteLine.objects.only("quote", "cost_minor", "setup_minor")
    decided = [one for one in listed if one.state != QuoteState.OPEN]
    prefetch_related_objects(decided, Prefetch("lines", amounts))


def _actual(jobs: Iterable[Job | None]) -> dict[int, int]:
    """What those of the jobs cost, without material, that are closed."""
    closed = {job.pk for job in jobs if job is not None and job.state == JobState.CLOSED}
    return dict(chunked(sorted(closed), costs_of))


def _judged() -> list[tuple[float, bool]]:
    """The chance that was promised, and whether it overran, of the last ones to be closed whose
    costs are all known. What jobs cost is summed for those alone: postings of a year take long."""
    gap = Q(cost_minor=None) | Q(setup_minor=None)
    known = ~Exists(QuoteLine.objects.filter(gap, quote=OuterRef("pk")))
    closed = _newest().filter(known, job__state=JobState.CLOSED)
    ranked = closed.order_by("-job__closed_at", "-pk").values_list("pk", "overrun_chance", "job_id")
    found: list[tuple[float, bool]] = []
    at, many = 0, LATEST
    while len(found) < LATEST and (some := list(ranked[at : at + many])):
        actual = dict(chunked(sorted({job or 0 for _pk, _chance, job in some}), costs_of))
        allowed = dict(chunked([pk for pk, _chance, _job in some], _allowed))
        found += [
            (chance, actual[job] > allowed.get(pk, 0)) for pk, chance, job in some if job in actual
        ]
        at, many = at + many, 2 * many  # few statements where most have nothing posted
    return found[:LATEST]


def _allowed(quotes: Sequence[int]) -> QuerySet[Any, Any]:
    """(quote, minor units) of the lines of each, set-ups included."""
    lines = QuoteLine.objects.filter(quote__in=quotes).order_by().values_list("quote")
    return lines.annotate(all=Sum(F("cost_minor") + F("setup_minor")))


def quote_detail(*, quote_id: int, now: datetime) -> QuoteDetail:
    """One revision. Raises `LookupError` where there is none."""
    quote = Quote.objects.filter(pk=quote_id).select_related("customer", "job", "made_by").first()
    if quote is None:
        raise LookupError(_("there is no quote {quote_id}").format(quote_id=quote_id))
    lines = tuple(
        quote.lines.select_related(
            "revision__nest__material", "drawing__drawing__material", "table", "wear_set"
        )
    )
    revisions = tuple(Quote.objects.filter(number=quote.number).order_by("-revision"))
    return QuoteDetail(
        _row(quote, stands_of(quote, now)),
        lines,
        revisions,
        revisions[0].pk == quote.pk,
        currency(),
        quote_work(quote),
        _breaks(quote, lines),
        tuple((line.number, line.words, default_words(line)) for line in lines),
    )


def _breaks(quote: Quote, lines: Sequence[QuoteLine]) -> tuple[LinePrice, ...]:
    """Of lines that have other quantities, all of theirs."""
    found = line_prices(quote, lines)
    return tuple(one for line in lines if line.breaks for one in found[line.pk])


PLATE = ("material__code", "thickness_mm", "thickness_text")


def _lines() -> QuerySet[QuoteLine]:
    """What a price is held against; not the program, the drawing or other quantities."""
    rows = QuoteLine.objects.select_related(
        "revision__nest__material", "drawing__drawing__material"
    )
    return rows.only(
        "quote", "cost_minor", "setup_minor", "table", "wear_set", "made_from",
        *(f"revision__nest__{name}" for name in PLATE),
        *(f"drawing__drawing__{name}" for name in PLATE),
    )  # fmt: skip


def _row(quote: Quote, stands: Stands) -> QuoteRow:
    lines = list(quote.lines.all())
    still_open = quote.state == QuoteState.OPEN
    amounts = [amount for line in lines for amount in (line.cost_minor, line.setup_minor)]
    known = all(amount is not None for amount in amounts)
    return QuoteRow(
        quote=quote,
        moved=tuple(moved_since(lines, stands)) if still_open else (),
        expired=quote.expired(stands.day),
        allowed_minor=sum(amount or 0 for amount in amounts) if known else None,
        actual_minor=stands.actual.get(quote.job_id or 0),
        material=material_difference(quote, lines, stands),
    )
