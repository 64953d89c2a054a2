"""The shop's rates as a book that can be asked for any day."""

from __future__ import annotations

from planning.calc.cost import RateBook, RateLine
from shopfloor.models import Rate


def rate_book() -> RateBook:
    """All rates in one query."""
    rows = Rate.objects.values_list("kind", "table_id", "amount_minor", "valid_from")
    return RateBook(RateLine(*row) for row in rows)
