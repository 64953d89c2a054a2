"""What a quote's work was said to come to, opened down to the runs it rests on."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from planning.calc.ahead.scores import LEVELS
from shopfloor.models import Quote

CHANCES: Final = (0.5, 0.3, 0.2, 0.1, 0.05)


@dataclass(frozen=True, slots=True)
class WorkStep:
    """`in_100` of such jobs cost more than `minor` (material apart) and take longer than `hours` at
    the table."""

    in_100: int
    minor: int
    hours: float
    chosen: bool


@dataclass(frozen=True, slots=True)
class TableRuns:
    """Runs of a table that were known by `until`; None where it had none on record. `widened`: by
    how much the ranges of its shift ends were, where a quote was not."""

    name: str
    runs: int
    until: datetime | None
    widened: float | None = None


@dataclass(frozen=True)
class QuoteWork:
    steps: tuple[WorkStep, ...]
    tables: tuple[TableRuns, ...]
    draws: int
    weeks_on: int
    most_days: int
    beyond_in_100: int  # of the draws, in which work goes on for more than `most_days`


def quote_work(quote: Quote) -> QuoteWork | None:
    """None for a quote made before whole quotes were drawn, or with a part unknown."""
    kept = quote.forecast
    if not kept:
        return None
    chosen = quote.overrun_chance
    return QuoteWork(
        tuple(_step(kept, chance, abs(chance - chosen) < 1e-9) for chance in CHANCES),
        tuple(_table_runs(one) for one in kept["tables"]),
        kept["draws"],
        kept["weeks_on"],
        kept.get("most_days", 0),
        math.ceil(kept.get("beyond", 0.0) * 100),
    )


def _table_runs(kept: Mapping[str, Any]) -> TableRuns:
    until = datetime.fromisoformat(kept["until"]) if kept["until"] else None
    scale = round(kept.get("scale", 1.0), 2)
    return TableRuns(kept["name"], kept["runs"], until, None if scale == 1.0 else scale)


def _step(kept: Mapping[str, Any], chance: float, chosen: bool) -> WorkStep:
    place = LEVELS.index(round(1 - chance, 2))
    minor = kept["allowed_minor"] if chosen else kept["minor"][place]
    return WorkStep(round(chance * 100), minor, kept["seconds"][place] / 3600, chosen)
