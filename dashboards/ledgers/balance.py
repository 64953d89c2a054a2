"""Minutes by duty and day, as the balance page reads it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from dashboards.records import records
from planning.calc.balance import UNASSIGNED
from shopfloor.chart.duties import CODES, known

KINDS = (*CODES, UNASSIGNED)  # and "unknown" on a day that has minutes of an unknown duty


@dataclass(frozen=True, slots=True)
class Day:
    """Minutes of one shift date over all tables; None where none of its rows knows."""

    day: date
    planned: dict[str, float]
    burnt: dict[str, float]
    runs: int

    @property
    def planned_min(self) -> float:
        return sum(self.planned.values())

    @property
    def burnt_min(self) -> float:
        return sum(self.burnt.values())


def days(frame: pd.DataFrame, first: date, last: date, table: str = "") -> list[Day]:
    """One entry a date from first to last, with empty ones between."""
    found: dict[date, Day] = {}
    at = first
    while at <= last:
        found[at] = Day(at, dict.fromkeys(KINDS, 0.0), dict.fromkeys(KINDS, 0.0), 0)
        at += timedelta(days=1)
    for row in records(frame):
        if (table and row["table"] != table) or row["day"] not in found:
            continue
        day = found[row["day"]]
        kind = UNASSIGNED if row["duty"] == UNASSIGNED else known(row["duty"])
        for sums, name in ((day.planned, "planned_min"), (day.burnt, "burnt_min")):
            sums[kind] = sums.get(kind, 0.0) + (row[name] or 0.0)
        found[row["day"]] = Day(day.day, day.planned, day.burnt, day.runs + int(row["runs"] or 0))
    return list(found.values())


def tables(frame: pd.DataFrame) -> list[str]:
    return sorted(set(frame["table"]))


def sets(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """What a nest takes by each table and set: those that can, the cheapest first; then those
    that cannot."""
    rows = records(frame)
    return sorted(
        rows,
        key=lambda row: (
            bool(row["problem"]),
            row["cost_minor"] is None,
            row["cost_minor"] or 0,
            row["total_s"] or 0.0,
        ),
    )
