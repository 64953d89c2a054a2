"""Quotes as they stand, what has moved beneath them, and how they fared."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import (
    Count,
    Exists,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Sum,
    prefetch_related_objects,
)
from django.db.models.functions import Length
from django.utils.translation import gettext as _

from planning.calc.cost import rounded
from planning.calc.quote import Score, Split, material_split, score
from planning.inputs.chunks import chunked
from planning.inputs.rates import rate_book
from planning.reports.frames import currency
from planning.reports.quote_work import QuoteWork, quote_work
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
    Sheet,
)
from shopfloor.site.queries import shift_date_of

PAGE = 50  # quotes on one page, as in the office's lists
RATED = ("machine", "labour", "bench", "gas", "energy")


@dataclass(frozen=True, slots=True)
class QuoteRow:
    """One quote at its newest revision. `moved` says what has changed since its price date,
    `late` that its validity is over. `actual_minor` is what the job cost without material (None:
    no job, or it is still open), `allowed_minor` what the quote reckoned with for just that.
    `material` is asked for a quote opened alone, not in a list."""

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


@dataclass(frozen=True, slots=True)
class QuoteTotal:
    """Of all quotes found; `unknown` of them have no cost, or no price, and are not in it."""

    cost_minor: int
    price_minor: int
    unknown: int


@dataclass(frozen=True)
class QuoteBoard:
    """One page of the list: `rows` are those of `page`. `total` is given for open quotes alone: of
    decided ones there is no end. `score` and `moved`, how many open quotes
    stand at prices that have moved, are of all quotes, whatever is asked for."""

    rows: tuple[QuoteRow, ...]
    page: Page[Quote]
    score: Score | None
    moved: int
    money: dict[str, Any]
    total: QuoteTotal | None


@dataclass(frozen=True)
class QuoteDetail:
    row: QuoteRow
    lines: tuple[QuoteLine, ...]
    revisions: tuple[Quote, ...]
    newest: bool
    money: dict[str, Any]
    work: QuoteWork | None


def quote_board(
    *, now: datetime, text: str = "", state: str = "", page: str | int | None = 1
) -> QuoteBoard:
    """Newest revisions, the newest quote first, and how closed ones were kept. `text` looks in
    number, title, customer and job; `state` blank: all; a page there is not is the nearest one."""
    closed = _newest().filter(job__state=JobState.CLOSED)
    actual = dict(chunked(sorted({*closed.values_list("job_id", flat=True)}), _costs))
    stands = _Stands(now, actual)
    asked = _asked(text, state)
    shown = Paginator(asked, PAGE).get_page(page)
    total = _total(asked) if state == QuoteState.OPEN else None
    rows = tuple(_row(quote, stands) for quote in _with_lines(shown))
    still_open = _with_lines(_newest().filter(state=QuoteState.OPEN))
    moved = sum(bool(_moved(list(quote.lines.all()), stands)) for quote in still_open)
    return QuoteBoard(rows, shown, score(_judged(closed, actual)), moved, currency(), total)


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
    quotes = _newest().select_related("customer", "job")
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


def _with_lines(quotes: Iterable[Quote]) -> list[Quote]:
    found = list(quotes)
    prefetch_related_objects(found, Prefetch("lines", _lines()))
    return found


def _judged(closed: QuerySet[Quote], actual: Mapping[int, int]) -> list[tuple[float, bool]]:
    """The chance that was promised, and whether it overran, of each whose costs are all known."""
    sums = closed.order_by().annotate(
        allowed=Sum("lines__cost_minor"),
        gaps=Count("lines", filter=Q(lines__cost_minor=None)),
    )
    return [
        (chance, actual[job] > (allowed or 0))
        for chance, job, allowed, gaps in sums.values_list(
            "overrun_chance", "job_id", "allowed", "gaps"
        )
        if job in actual and not gaps
    ]


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
        _row(quote, _stands_of(quote, now)),
        lines,
        revisions,
        revisions[0].pk == quote.pk,
        currency(),
        quote_work(quote),
    )


def _lines() -> QuerySet[QuoteLine]:
    """What a line is of comes with it, but not the program or the drawing itself."""
    rows = QuoteLine.objects.select_related(
        "revision__nest__material", "drawing__drawing__material"
    )
    return rows.defer("revision__program", "revision__notes", "drawing__contours")


def _stands_of(quote: Quote, now: datetime) -> _Stands:
    """What one quote is held against, the sheets its closed job took among it."""
    closed = [quote.job.pk] if quote.job and quote.job.state == JobState.CLOSED else []
    stands = _Stands(now, dict(chunked(closed, _costs)))
    for job, sheet, cost in chunked(closed, _burnt_sheets):
        stands.sheets[job][sheet] = cost
    return stands


class _Stands:
    """What quotes are held against, read once for all of them: today's rates and prices, and
    `actual`, what closed jobs cost."""

    def __init__(self, now: datetime, actual: Mapping[int, int]) -> None:
        self.day = shift_date_of(now)
        self.rates = rate_book()
        self.parts: dict[int, list[tuple[str, int | None]]] = defaultdict(list)
        for wear_set, name, price in SetPart.objects.values_list(
            "wear_set_id", "name", "price_minor"
        ):
            self.parts[wear_set].append((name, price))
        self._sheets: dict[tuple[int, float], Sheet | None] = {}
        self.actual = actual
        self.sheets: dict[int, dict[int, int | None]] = defaultdict(dict)

    def sheet(self, of: Nest | Drawing) -> Sheet | None:
        """The sheet it would be priced at: one query for each kind of plate."""
        key = (of.material_id, of.thickness_mm)
        if key not in self._sheets:
            self._sheets[key] = sheet_price(of)
        return self._sheets[key]


def _costs(jobs: Sequence[int]) -> QuerySet[Any, Any]:
    """(job, minor units) of what was posted for each, material apart."""
    rows = Posting.objects.filter(line__job__in=jobs).exclude(kind__in=("material", "credit"))
    summed = rows.order_by().values("line__job_id").annotate(all=Sum("amount_minor"))
    return summed.values_list("line__job_id", "all")


def _burnt_sheets(jobs: Sequence[int]) -> QuerySet[Any, Any]:
    """(job, sheet, its cost) of finished runs of each, every sheet once."""
    job = "revision__contours__line__job"
    runs = Run.objects.filter(**{f"{job}__in": jobs}, state=RunState.FINISHED).exclude(sheet=None)
    return runs.order_by().values_list(f"{job}_id", "sheet_id", "sheet__cost_minor").distinct()


def _row(quote: Quote, stands: _Stands) -> QuoteRow:
    lines = list(quote.lines.all())
    still_open = quote.state == QuoteState.OPEN
    amounts = [line.cost_minor for line in lines]
    known = all(amount is not None for amount in amounts)
    return QuoteRow(
        quote=quote,
        moved=tuple(_moved(lines, stands)) if still_open else (),
        late=still_open and quote.valid_until < stands.day,
        allowed_minor=sum(amount or 0 for amount in amounts) if known else None,
        actual_minor=stands.actual.get(quote.job_id or 0),
        material=_material(quote, lines, stands),
    )


def _moved(lines: Sequence[QuoteLine], stands: _Stands) -> list[str]:
    """What of the rates, the wear parts or the sheet is not as it was priced."""
    found: dict[str, None] = {}
    for line in lines:
        of = line_of(line)
        for kind in RATED:
            was = (line.made_from.get("rates", {}).get(kind) or {}).get("minor")
            rate = stands.rates.on(kind, stands.day, line.table_id)
            costs = rate.amount_minor if rate else None
            if was != costs:
                found[f"{kind} {_change(was, costs)}"] = None
        parts = {part["part"]: part["price_minor"] for part in line.made_from.get("wear", ())}
        for name, price in stands.parts[line.wear_set_id]:
            if parts.get(name) != price:
                found[f"{name} {_change(parts.get(name), price)}"] = None
        sheet = stands.sheet(of)
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
        raise LookupError(_("line {line} names neither nest nor drawing").format(line=line.pk))
    return line.revision.nest


def _change(was: int | None, now: int | None) -> str:
    if was is None or now is None:
        return _("is known now") if was is None else _("is not known any more")
    share = abs(now - was) / was if was else 0.0
    return (_("dearer by {share:.1%}") if now > was else _("cheaper by {share:.1%}")).format(
        share=share
    )


def _material(quote: Quote, lines: Sequence[QuoteLine], stands: _Stands) -> Split | None:
    """Sheets quoted against sheets burnt, where both prices are known and all is of one kind."""
    job = quote.job_id or 0
    if job not in stands.actual or len(lines) != 1 or lines[0].material_minor is None:
        return None
    share = lines[0].made_from.get("sheets_share")
    quoted = lines[0].sheets if share is None else share
    costs = stands.sheets[job]
    if not costs or any(cost is None for cost in costs.values()):
        return None
    each = sum(cost or 0 for cost in costs.values()) / len(costs)
    found = material_split(lines[0].material_minor / quoted, quoted, each, len(costs))
    whole = sum(cost or 0 for cost in costs.values()) - lines[0].material_minor
    return Split(rounded(found.price), whole - rounded(found.price))
