"""What the lines of a quote are asked at: their own quantity and the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from planning.calc.allocation import share_out
from planning.calc.cost import rounded
from shopfloor.models import Quote, QuoteLine


@dataclass(frozen=True, slots=True)
class LinePrice:
    """A line at one quantity (sheets of a nest, parts of a drawing). Costs in minor units; the
    price together is rounded once and counts, `each_minor` is it over the quantity, rounded."""

    line: QuoteLine
    name: str
    quantity: int
    sheets: int
    work_minor: int | None
    setup_minor: int | None
    material_minor: int | None
    minor: int | None
    price_minor: int | None
    asked: bool

    @property
    def each_minor(self) -> int | None:
        if self.price_minor is None:
            return None
        return rounded(Fraction(self.price_minor, self.quantity))


def line_prices(quote: Quote, lines: Sequence[QuoteLine]) -> dict[int, list[LinePrice]]:
    """By line: its quantities in order. The price of the quote is shared by cost, to the unit; at
    another quantity a line is asked at the same share of its cost."""
    costs = {
        line.pk: _sum(line.cost_minor, line.setup_minor, line.material_minor) for line in lines
    }
    known = {pk: float(cost) for pk, cost in costs.items() if cost}
    whole = len(known) == len(costs) and quote.price_minor is not None and bool(quote.cost_minor)
    shares = share_out(quote.price_minor or 0, known) if whole else {}
    ratio = Fraction(quote.price_minor or 0, quote.cost_minor or 1) if whole else None
    return {
        line.pk: sorted(
            [_asked(line, costs[line.pk], shares.get(line.pk, 0) if whole else None)]
            + [_other(line, one, ratio) for one in line.breaks],
            key=lambda one: one.quantity,
        )
        for line in lines
    }


def _sum(*parts: int | None) -> int | None:
    return None if any(part is None for part in parts) else sum(part or 0 for part in parts)


def _asked(line: QuoteLine, minor: int | None, price: int | None) -> LinePrice:
    return LinePrice(
        line, name_of(line), line.parts or line.sheets, line.sheets, line.cost_minor,
        line.setup_minor, line.material_minor, minor, price, True,
    )  # fmt: skip


def _other(line: QuoteLine, kept: dict[str, int | None], ratio: Fraction | None) -> LinePrice:
    minor = kept["minor"]
    price = None if minor is None or ratio is None else rounded(minor * ratio)
    return LinePrice(
        line, name_of(line), kept["quantity"] or 0, kept["sheets"] or 0, kept["work_minor"],
        line.setup_minor, kept["material_minor"], minor, price, False,
    )  # fmt: skip


def name_of(line: QuoteLine) -> str:
    """As the shop knows it."""
    if line.drawing is not None:
        return line.drawing.drawing.name
    return line.revision.nest.name if line.revision is not None else ""
