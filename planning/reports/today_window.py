"""The window one page of today tells of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from planning.calc.spans import Span
from shopfloor.runs.arcs import to_us
from shopfloor.site.calendar import ShiftSpan


@dataclass(frozen=True, slots=True)
class Window:
    name: str
    date: Any
    start_us: int
    end_us: int
    now_us: int
    zone: Any
    closed: tuple[Span, ...] = ()  # time no shift covers: nobody was to work in it

    @classmethod
    def of_shift(cls, shift: ShiftSpan, now_us: int, zone: Any) -> Window:
        return cls(shift.name, shift.date, to_us(shift.start), to_us(shift.end), now_us, zone)
