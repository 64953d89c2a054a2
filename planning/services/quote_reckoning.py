"""All that a quote's lines will cost, before anything of it is kept.

A quote is drawn once for itself and once for each other quantity of a line, which takes seconds:
none of it belongs in the transaction that writes, where the shop's other entries would wait.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from planning.services.drawing_plan import drawing_revision_plan
from planning.services.quote_breaks import line_breaks, with_setups
from planning.services.quote_drawing import price_drawing
from planning.services.quote_forecast import Forecast, Times, forecast
from planning.services.quote_pricing import Priced, Wanted, price_line


@dataclass(frozen=True)
class Reckoned:
    """`said` is None where a line's plan has no figure; `breaks` are by line."""

    found: Sequence[Priced]
    said: Forecast | None
    breaks: Sequence[list[dict[str, Any]]]


def reckon(wanted: Sequence[Wanted], chance: float, *, now: datetime) -> Reckoned:
    """At the plans, rates and stock prices of now; what it plans anew is stored by itself."""
    for drawing in {one.drawing.pk: one.drawing for one in wanted if one.drawing}.values():
        drawing_revision_plan(revision=drawing, now=now)
    found = [(price_line if one.drawing is None else price_drawing)(one, now=now) for one in wanted]
    times = Times([one.table for one in wanted])
    return reckon_priced(with_setups(found, now=now), times, chance, now=now)


def reckon_priced(
    found: Sequence[Priced], times: Times, chance: float, *, now: datetime
) -> Reckoned:
    """Of lines that have their prices."""
    said = forecast(found, times, chance, now=now)
    return Reckoned(found, said, line_breaks(found, times, chance, now=now))
