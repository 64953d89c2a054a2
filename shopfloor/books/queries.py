"""Rates as the office lists them."""

from __future__ import annotations

from datetime import date

from shopfloor.models import (
    Rate,
)


def rates_list(*, wages: bool, today: date) -> list[tuple[Rate, bool]]:
    """Every rate with whether it is in force today; wages only where the reader may see them."""
    rates = Rate.objects.select_related("table").order_by("kind", "table__name", "-valid_from")
    if not wages:
        rates = rates.exclude(kind__in=WAGES)
    seen: set[tuple[str, int | None]] = set()
    rows = []
    for rate in rates:
        key = (rate.kind, rate.table_id)
        now = rate.valid_from <= today and key not in seen
        if now:
            seen.add(key)
        rows.append((rate, now))
    return rows


WAGES = ("labour", "bench")
