"""Fine and fast: how the minutes of each day divide between the duties."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

UNASSIGNED = "unassigned"


@dataclass(frozen=True, slots=True)
class DayPart:
    """Seconds of torch time of one table's day by one duty; `duty` is fine, fast or unassigned."""

    day: date
    table: int
    duty: str
    planned_s: float = 0.0
    burnt_s: float = 0.0
    runs: int = 0


def balance(parts: Iterable[DayPart], burnt_s: dict[tuple[date, int], float]) -> list[DayPart]:
    """Parts summed by day, table and duty. `burnt_s` is all torch time by day and table, from the
    rollups: what exceeds the parts' burnt time belongs to no run and is `unassigned`."""
    sums: dict[tuple[date, int, str], DayPart] = {}
    assigned: dict[tuple[date, int], float] = {}
    for part in parts:
        key = (part.day, part.table, part.duty)
        had = sums.get(key, DayPart(*key))
        sums[key] = DayPart(
            *key,
            had.planned_s + part.planned_s,
            had.burnt_s + part.burnt_s,
            had.runs + part.runs,
        )
        assigned[key[:2]] = assigned.get(key[:2], 0.0) + part.burnt_s
    for (day, table), total in burnt_s.items():
        over = total - assigned.get((day, table), 0.0)
        if over > 0.5:  # below half a second it is rounding
            sums[day, table, UNASSIGNED] = DayPart(day, table, UNASSIGNED, burnt_s=over)
    return [sums[key] for key in sorted(sums)]
