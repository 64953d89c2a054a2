"""What the sentences of notes share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from planning.calc.dates import day_time, timed
from planning.reports.shapes import Act
from shopfloor.runs.arcs import from_us

MINUTE_US = 60_000_000


@dataclass(frozen=True, slots=True)
class Row:
    """A note as it is kept, for one reader at one time."""

    code: str
    subject: str
    values: Mapping[str, Any]
    table: str  # its name
    table_code: str
    now_us: int
    zone: tzinfo

    def clock(self, at_us: int) -> str:
        return timed(self._local(at_us))

    def moment(self, at_us: int) -> str:
        return day_time(self._local(at_us))

    def _local(self, at_us: int) -> datetime:
        return from_us(at_us).astimezone(self.zone)


Said = tuple[str, str, tuple[Act, ...]]  # head, sentence, what can be done
Sayer = Callable[[Row], Said]
