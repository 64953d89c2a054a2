"""Today's figures of one table opened: where its shift went. A key is
"TABLE@US", the table's code and the moment (us UTC) the page was drawn for."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from django.utils.translation import gettext as _

from planning.calc.ahead.clock import StaffedClock
from planning.calc.dates import WEEKDAY, dated, day_time, timed
from planning.calc.numbers import filled
from planning.calc.said import said
from planning.calc.spans import Span, intersect, length, shared_us, subtract, union
from planning.inputs.shifts import ShiftBook
from planning.inputs.table_time import clock_of
from planning.reports.figure import Figure, Part, Ref
from planning.reports.queue import queue_plans
from planning.reports.shapes import TableToday
from planning.reports.today import at_table, shifts_ahead, window_at
from planning.reports.today_data import ArcNow, RunToday, TableData, today_data
from planning.reports.today_table import (
    accounted,
    stopped_spans,
    table_today,
)
from planning.reports.today_window import Window
from shopfloor.models import Table
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop
from shopfloor.wording.counts import count
from shopfloor.wording.quantity import Quantity, Reading, say, seconds, text

S = 1_000_000
LAST_US = 253_402_300_799_000_000  # the year 9999: no moment a page was drawn for lies beyond
RULE_SHIFT = said(
    "every instant counts once: burning if any torch burnt, else stopped if a stop covers it, else "
    "unknown if the source was silent, else waiting"
)


@dataclass(frozen=True)
class Shown:
    """One table as its page was."""

    key: str
    data: TableData
    row: TableToday
    window: Window
    now: datetime
    zone: tzinfo
    staffed: StaffedClock

    def clock(self, at_us: float) -> str:
        return timed(from_us(round(at_us)).astimezone(self.zone))

    def clock_day(self, at: float) -> str:
        """A moment (epoch s) with its day, where that is another."""
        day = from_us(self.window.now_us).astimezone(self.zone).date()
        moment = from_us(round(at * S)).astimezone(self.zone)
        return timed(moment) if moment.date() == day else day_time(moment)

    def figure(self, kind: str, value: Quantity, rule: str, parts: Sequence[Part]) -> Figure:
        return Figure(Ref(kind, self.key), self.title, value, rule, tuple(parts), self.now)

    @property
    def title(self) -> str:
        day = dated(self.row.shift_date, WEEKDAY)
        shift = (
            _("{shift} shift of {day}").format(shift=self.row.shift, day=day)
            if self.row.shift
            else day
        )
        return _("{name}, {shift}, at {now_us}").format(
            name=self.row.name, shift=shift, now_us=self.clock(self.window.now_us)
        )


def shown_at(key: str) -> Shown:
    code, _sep, at = key.rpartition("@")
    table = Table.objects.filter(code=code).first()
    if table is None or not at.isdecimal() or int(at) > LAST_US:
        raise LookupError(_("there is no table {code!r} at {at!r}").format(code=code, at=at))
    now = from_us(int(at))
    shifts = ShiftBook(now, now)
    window = at_table(window_at(shifts, now), shifts, table.code)
    waiting = queue_plans(tables=[table.pk], arcs=True)
    [data] = today_data([table], window.start_us, window.end_us, now, waiting)
    clock = clock_of(shifts_ahead([data], now), table.code)
    row = table_today(data, window, the_shop().run_gap_s * S, clock)
    return Shown(key, data, row, window, now, shifts.zone, clock)


def shift(key: str) -> Figure:
    """Where the staffed time of a shift went, run by run and stop by stop."""
    shown = shown_at(key)
    burns = [(arc.on_us, arc.off_us) for arc in shown.data.arcs]
    _whole, staffed = accounted(shown.data, shown.window, burns)
    parts, burnt = _burnt(shown.data, staffed)
    shares = shown.row.shares
    if shares.entered_burning_s:
        entered = seconds(shares.entered_burning_s, "entered")
        parts.append(Part(_("burnt while the source was silent"), entered))
    stopped: list[Span] = []
    for stop in shown.data.stops:
        heard = stopped_spans([stop], shown.data.hearing.silences)
        fresh = subtract(intersect(heard, staffed), [*burnt])
        fresh = subtract(fresh, stopped)
        stopped = union([*stopped, *fresh])
        if us := length(fresh):
            label = _("stopped {from_us}: {stop}").format(
                from_us=shown.clock(stop.from_us), stop=stop.label
            )
            parts.append(Part(label, seconds(us / S, "entered")))
    if shares.unknown_s:
        parts.append(Part(_("the source was silent"), seconds(shares.unknown_s, "unknown")))
    parts.append(Part(_("waiting: all the rest"), seconds(shares.waiting_s, "measured")))
    parts.append(Part(_("Time so far"), seconds(shares.total_s), total=True))
    if shares.outside_s:
        parts.append(Part(_("Burnt outside shifts, in none of these"), seconds(shares.outside_s)))
    known_s, share = shares.total_s - shares.unknown_s, shares.burning_share
    of = (
        "unknown"
        if share is None
        else filled(_("{share:.0f} % of {known_s}"), share=share * 100, known_s=_said(known_s))
    )
    value = text(
        _("{burning_s} burning, {of}").format(burning_s=_said(shares.burning_s), of=of), "measured"
    )
    return shown.figure("shift", value, RULE_SHIFT, parts)


def _said(value_s: float) -> str:
    return say(seconds(value_s), Reading())


def _burnt(data: TableData, staffed: list[Span]) -> tuple[list[Part], list[Span]]:
    """A row a run and one for arcs of no run, and the time any torch burnt. Where two burn at once
    the time is the one's that lit first."""
    runs = {segment.pk: run for run in data.runs for segment in run.segments}
    spent: dict[uuid.UUID | str, int] = defaultdict(int)
    arcs: dict[uuid.UUID | str, int] = defaultdict(int)
    covered: list[Span] = []
    reach_us = 0  # in order of their starts, what has burnt so far is whole from a start to here
    for arc in sorted(data.arcs, key=lambda arc: (arc.on_us, arc.off_us)):
        fresh = max(arc.on_us, reach_us), arc.off_us
        us = shared_us(fresh, staffed) if fresh[0] < fresh[1] else 0
        reach_us = max(reach_us, arc.off_us)
        covered.append(fresh)
        whose = _whose(arc, runs)
        spent[whose] += us
        arcs[whose] += bool(us)
    names = {run.run_id: run for run in data.runs}
    parts = []
    for whose, us in spent.items():
        run = names.get(whose) if isinstance(whose, uuid.UUID) else None
        if not us:
            continue
        label = _("burnt by {nest}").format(nest=run.nest) if run else str(whose)
        ref = Ref("run", str(run.run_id)) if run else None
        parts.append(
            Part(
                label,
                seconds(us / S, "measured"),
                ref,
                (count(arcs[whose], "{n} arc", "{n} arcs"),),
            )
        )
    return parts, intersect(union(covered), staffed)


def _whose(arc: ArcNow, runs: dict[int, RunToday]) -> uuid.UUID | str:
    run = runs.get(arc.segment_id or -1)
    if run is not None:
        return run.run_id
    return _("burnt, and marked as no job") if arc.said else _("burnt in no run yet")
