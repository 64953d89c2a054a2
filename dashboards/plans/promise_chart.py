"""Where the bars and brackets of the promises stand, as plain numbers for the page's SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from planning.reports.promise import LATE, SHOWN, DayLoad, JobPromise, TableLoad
from shopfloor.site.calendar import day_span

DAY_PX: Final = 58
HIGH_PX: Final = 90
LEFT_PX: Final = 34
ROW_PX: Final = 30


@dataclass(frozen=True, slots=True)
class Bar:
    """One day of a table: its frame and the two piles in it, from the foot up; px."""

    day: DayLoad
    x: float
    frame: float
    square: float
    quick: float


@dataclass(frozen=True, slots=True)
class Bars:
    bars: tuple[Bar, ...]
    top_h: float
    width: int


def bars(load: TableLoad) -> Bars:
    top = max([8.0, *(max(day.staffed_h, day.square_h + day.quick_h) for day in load.days)])
    px = HIGH_PX / top
    found = tuple(
        Bar(day, LEFT_PX + n * DAY_PX, day.staffed_h * px, day.square_h * px, day.quick_h * px)
        for n, day in enumerate(load.days)
    )
    return Bars(found, top, LEFT_PX + len(found) * DAY_PX)


@dataclass(frozen=True, slots=True)
class Line:
    """One job: its bracket from `early` to `late` with `middle`, its flag at `due`; px from the
    left, None where it is beyond the right edge or unknown."""

    job: JobPromise
    y: float
    early: float | None
    middle: float | None
    late: float | None
    due: float | None
    is_late: bool
    beyond: bool

    @property
    def bracket(self) -> str:
        """An SVG path; open to the right where it goes on beyond the edge."""
        left, right = self.early or 0.0, self.late or 0.0
        end = "" if self.beyond else f"M{right:.1f} 2v12"
        return f"M{left:.1f} 2v12M{left:.1f} 8H{right:.1f}{end}"


@dataclass(frozen=True, slots=True)
class Timeline:
    lines: tuple[Line, ...]
    days: tuple[tuple[date, float], ...]
    now: float
    width: int
    height: int


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
    right = LEFT_PX + SHOWN.days * DAY_PX
    lines = tuple(
        Line(
            job, 24 + n * ROW_PX, x(job.early), x(job.middle),
            x(job.late) or (float(right) if x(job.early) is not None else None), x(job.due_at),
            job.state == LATE, x(job.late) is None,
        )
        for n, job in enumerate(shown)
    )  # fmt: skip
    days = tuple((day, float(LEFT_PX + n * DAY_PX)) for n, day in enumerate(dates[:-1]))
    return Timeline(lines, days, x(now) or LEFT_PX, right, 30 + len(lines) * ROW_PX)
