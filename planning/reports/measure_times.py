"""Which shifts and stops a table's scheduled and stopped time is made of. The measures sum what
the opened figure lists."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from planning.calc.itemised import Near
from planning.calc.spans import Span, intersect, length, subtract, union
from planning.reports.measure_sums import Sums
from shopfloor.models import ReasonKind, Table

US_HOUR = 3_600_000_000
CHANGE = str(ReasonKind.CHANGE)  # of a reason: time spent setting up
PLANNED, DELAY = "planned", "delay"


def sort_of(*, planned: bool | None, kind: str | None = "") -> str:
    """The sort of a stop whose reason is of this kind; nobody gave one: a delay."""
    return CHANGE if kind == CHANGE else PLANNED if planned else DELAY


BREAKS = "breaks"


@dataclass(frozen=True, slots=True)
class Stop:
    """A stoppage in microseconds; `sort` is CHANGE, PLANNED or DELAY."""

    span: Span
    sort: str
    label: str
    run_id: uuid.UUID | None


@dataclass(frozen=True, slots=True)
class Shift:
    """A shift so far, breaks among it."""

    day: date
    name: str
    span: Span


@dataclass(frozen=True)
class Base:
    """What one table's measures are made of; shifts and stops in the order they began."""

    table: Table
    sums: Sums
    shifts: list[Shift]
    breaks: list[Span]
    stops: list[Stop]

    @cached_property
    def worked(self) -> list[Span]:
        """Time that somebody was scheduled, breaks out."""
        return subtract(union(shift.span for shift in self.shifts), union(self.breaks))


@dataclass(frozen=True, slots=True)
class Stretch:
    """Microseconds of an element, negative where they are taken off, and what they are of: a shift,
    a stop, or all time of the sort BREAKS or PLANNED."""

    us: int
    of: Shift | Stop | str


def hours(stretches: Iterable[Stretch]) -> float:
    return sum(stretch.us for stretch in stretches) / US_HOUR


def planned_busy(base: Base) -> list[Stretch]:
    """The shifts, less breaks and planned stops; where shifts overlap the time is the first's."""
    found, reach_us = [], 0
    for shift in base.shifts:
        start, end = shift.span
        if end > max(start, reach_us):
            found.append(Stretch(end - max(start, reach_us), shift))
            reach_us = end
    breaks = intersect(union(base.breaks), union(shift.span for shift in base.shifts))
    planned = intersect(planned_spans(base), base.worked)
    less = ((BREAKS, length(breaks)), (PLANNED, length(planned)))
    return [*found, *(Stretch(-us, sort) for sort, us in less if us)]


def planned_spans(base: Base) -> list[Span]:
    return union(stop.span for stop in base.stops if stop.sort == PLANNED)


def stopped(base: Base, sort: str) -> list[Stretch]:
    """The stops of a sort during worked time; where they overlap the time is the first's. Time that
    is planned was taken out of what was to be used, and counts as no other stop."""
    hours_of = base.worked if sort == PLANNED else subtract(base.worked, planned_spans(base))
    found, reach_us, worked = [], 0, Near(hours_of)
    for stop in base.stops:
        piece = max(stop.span[0], reach_us), stop.span[1]
        if stop.sort != sort or piece[0] >= piece[1]:
            continue
        reach_us = piece[1]
        if us := length(intersect([piece], worked.to(piece))):
            found.append(Stretch(us, stop))
    return found
