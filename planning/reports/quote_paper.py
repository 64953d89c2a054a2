"""The page of a quote that a customer gets: prices and what they are for, and nothing of what the
work costs, how long it takes or what the shop calls its programs, tables and sets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from planning.reports.frames import currency
from planning.reports.quote_prices import LinePrice, line_prices
from planning.services.quote_take import parts_of
from shopfloor.drawings.queries import drawing_map
from shopfloor.models import Material, Quote, QuoteLine
from shopfloor.site.queries import shift_date_of

WIDTH = 420  # of a drawing's picture


@dataclass(frozen=True, slots=True)
class PaperPrice:
    """Minor units; `minor` together counts, `each_minor` is it over the quantity, rounded."""

    quantity: int
    each_minor: int | None
    minor: int | None
    asked: bool


@dataclass(frozen=True)
class PaperLine:
    """`sheets`: it is counted in sheets, not in pieces. `size_mm` is unknown for a program."""

    number: int
    name: str
    material: Material
    thickness_text: str
    size_mm: tuple[float, float] | None
    picture: Any
    sheets: bool
    prices: tuple[PaperPrice, ...]

    @property
    def asked(self) -> PaperPrice:
        return next(one for one in self.prices if one.asked)


@dataclass(frozen=True)
class QuotePaper:
    quote: Quote
    lines: tuple[PaperLine, ...]
    newest: bool
    expired: bool
    money: dict[str, Any]

    @property
    def day(self) -> date:
        return self.quote.price_date

    @property
    def more(self) -> bool:
        """Whether any line has another quantity."""
        return any(len(line.prices) > 1 for line in self.lines)


def quote_paper(*, quote_id: int, now: datetime) -> QuotePaper:
    """Raises `LookupError` where there is no such quote."""
    quote = Quote.objects.filter(pk=quote_id).select_related("customer").first()
    if quote is None:
        raise LookupError(_("there is no quote {quote_id}").format(quote_id=quote_id))
    rows = quote.lines.select_related("revision__nest__material", "drawing__drawing__material")
    lines = tuple(rows.defer("revision__program", "revision__notes"))
    prices = line_prices(quote, lines)
    later = Quote.objects.filter(number=quote.number, revision__gt=quote.revision)
    return QuotePaper(
        quote,
        tuple(_line(line, prices[line.pk]) for line in lines),
        not later.exists(),
        quote.expired(shift_date_of(now)),
        currency(),
    )


def _line(line: QuoteLine, prices: Sequence[LinePrice]) -> PaperLine:
    shown = tuple(
        PaperPrice(one.quantity, one.each_minor, one.price_minor, one.asked) for one in prices
    )
    name = line.words or default_words(line)
    if line.drawing is not None:
        drawing, box = line.drawing.drawing, line.drawing.extents_mm
        size = (box[2] - box[0], box[3] - box[1]) if len(box) == 4 else None
        return PaperLine(
            line.number, name, drawing.material, drawing.thickness_text, size,
            drawing_map(line.drawing.contours, WIDTH), False, shown,
        )  # fmt: skip
    if line.revision is None:
        raise LookupError(_("line {line} names neither nest nor drawing").format(line=line.pk))
    nest = line.revision.nest
    return PaperLine(line.number, name, nest.material, nest.thickness_text, None, None, True, shown)


def default_words(line: QuoteLine) -> str:
    """A drawing's name; of a program the parts of a sheet, whose name is the shop's own."""
    if line.drawing is not None:
        return line.drawing.drawing.name
    parts = [_("{n} {part}").format(n=count, part=part) for part, count in parts_of(line)]
    if not parts:
        return line.quote.title
    return _("a sheet of {parts}").format(parts=", ".join(parts))
