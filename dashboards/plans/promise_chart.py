"""Where the bars and brackets of the promises stand, as plain numbers for the page's SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from planning.calc.dates import DAY, WEEKDAY_ALONE, dated
from planning.calc.numbers import written
from planning.reports.promise import LATE, SHOWN, DayLoad, JobPromise, TableLoad
from shopfloor.site.calendar import day_span

DAY_PX: Final = 58
HIGH_PX: Final = 90
LEFT_PX: Final = 34
ROW_PX: Final = 30
FIRST_PX: Final = 36  # the first row, below the days
NAME_PX: Final = 100  # left of the days
RIGHT_PX: Final = LEFT_PX + SHOWN.days * DAY_PX


@dataclass(frozen=True, slots=True)
class Bar:
    """One day of a table: SVG paths of its frame and of the two piles in it, from its own foot."""

    day: DayLoad
    place: str
    frame: str
    square: str
    quick: str
    weekday: str
    date: str


def _box(left: int, wide: int, low: float, high: float) -> str:
    return f"M{left} -{low:.1f}h{wide}v-{high:.1f}h-{wide}Z"


def _bar(n: int, day: DayLoad, px: float) -> Bar:
    quick, square = day.quick_h * px, day.square_h * px
    return Bar(
        day,
        f"translate({LEFT_PX + n * DAY_PX} {HIGH_PX + 22})",
        _box(2, 42, 0, day.staffed_h * px),
        _box(4, 38, quick, square),
        _box(4, 38, 0, quick),
        dated(day.day, WEEKDAY_ALONE),
        dated(day.day, DAY),
    )


@dataclass(frozen=True, slots=True)
class Bars:
    bars: tuple[Bar, ...]
    top: str
    width: int


def bars(load: TableLoad) -> Bars:
    top = max([8.0, *(max(day.staffed_h, day.square_h + day.quick_h) for day in load.days)])
    px = HIGH_PX / top
    found = tuple(_bar(n, day, px) for n, day in enumerate(load.days))
    return Bars(found, written(top, ".0f"), LEFT_PX + len(found) * DAY_PX)


@dataclass(frozen=True, slots=True)
class Line:
    """One job, as SVG paths from its own row: the bracket of 80 in 100, open to the right where it
    goes on beyond the edge, its middle and the flag of its due date; blank where there is none."""

    job: JobPromise
    place: str
    bracket: str
    middle: str
    flag: str
    is_late: bool


@dataclass(frozen=True, slots=True)
class Tick:
    path: str
    x: int
    weekday: str
    date: str


@dataclass(frozen=True, slots=True)
class Timeline:
    lines: tuple[Line, ...]
    ticks: tuple[Tick, ...]
    now: str
    wide: int
    high: int
    view: str


def timeline(jobs: Sequence[JobPromise], now: datetime, zone: ZoneInfo) -> Timeline:
    """Two weeks from today's midnight; days as long as they are on the wall."""
    today = now.astimezone(zone).date()
    dates = [today + timedelta(days=n) for n in range(SHOWN.days + 1)]
    edges = [day_span(day, zone)[0] for day in dates]

    def x(at: datetime | None) -> float | None:
        if at is None or not edges[0] <= at <= edges[-1]:
            return None
        place = next(n for n in range(len(edges) - 1) if at <= edges[n + 1])
        inside = (at - edges[place]) / (edges[place + 1] - edges[place])
        return LEFT_PX + (place + inside) * DAY_PX

    shown = [job for job in jobs if job.early is not None]
    high = FIRST_PX + len(shown) * ROW_PX
    lines = tuple(
        _line(job, n, x(job.early), x(job.middle), x(job.late), x(job.due_at))
        for n, job in enumerate(shown)
    )
    ticks = tuple(
        Tick(f"M{left} {FIRST_PX - 6}V{high}", left + 3, dated(day, WEEKDAY_ALONE), dated(day, DAY))
        for n, day in enumerate(dates[:-1])
        for left in [LEFT_PX + n * DAY_PX]
    )
    at = x(now) or LEFT_PX
    wide = NAME_PX + RIGHT_PX
    return Timeline(
        lines, ticks, f"M{at:.1f} {FIRST_PX - 6}V{high}", wide, high, f"-{NAME_PX} 0 {wide} {high}"
    )


def _line(
    job: JobPromise,
    n: int,
    early: float | None,
    middle: float | None,
    late: float | None,
    due: float | None,
) -> Line:
    bracket = ""
    if early is not None:
        end = f"H{RIGHT_PX}" if late is None else f"H{late:.1f}M{late:.1f} 2v12"
        bracket = f"M{early:.1f} 2v12M{early:.1f} 8{end}"
    return Line(
        job, f"translate(0 {FIRST_PX + n * ROW_PX})", bracket,
        "" if middle is None else f"M{middle:.1f} 3v10",
        "" if due is None else f"M{due:.1f} 18V-4h8l-3 4 3 4h-8",
        job.state == LATE,
    )  # fmt: skip
