"""Today's figures of one table opened: where its shift went, its pace, when its work ends. A key is
"TABLE@US", the table's code and the moment (us UTC) the page was drawn for."""

from __future__ import annotations

import uuid
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, tzinfo

from planning.calc.spans import Span, intersect, length, shared_us, subtract, union
from planning.inputs.shifts import ShiftBook
from planning.reports.queue import queue_plans
from planning.reports.shapes import Figure, OpenedRow, TableToday
from planning.reports.today import at_table, window_at
from planning.reports.today_data import ArcNow, RunToday, TableData, today_data
from planning.reports.today_pace import paced
from planning.reports.today_table import (
    Window,
    accounted,
    begun_in,
    current_of,
    rest_of,
    stopped_spans,
    table_today,
)
from planning.reports.trace_rows import minutes
from shopfloor.models import Table
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop

S = 1_000_000
LAST_US = 253_402_300_799_000_000  # the year 9999: no moment a page was drawn for lies beyond
HOW_SHIFT = (
    "every instant counts once: burning if any torch burnt, else stopped if a stop covers it, else "
    "unknown if the source was silent, else waiting"
)
HOW_PACE = "planned time of the contours burnt, less the time there was for them"
HOW_OUTLOOK = (
    "the plan of what is left and begins in this shift, by the list as it is now, times what "
    "recent runs took of theirs; "
    "four times in five the end is in the range"
)


@dataclass(frozen=True)
class _Shown:
    """One table as its page was."""

    data: TableData
    row: TableToday
    window: Window
    now: datetime
    zone: tzinfo

    def clock(self, at_us: float) -> str:
        return f"{from_us(round(at_us)).astimezone(self.zone):%H:%M}"

    @property
    def title(self) -> str:
        day = f"{self.row.shift_date:%a %d %b}"
        shift = f"{self.row.shift} shift of {day}" if self.row.shift else day
        return f"{self.row.name}, {shift}, at {self.clock(self.window.now_us)}"


def _shown(id: str) -> _Shown:
    code, _, at = id.rpartition("@")
    table = Table.objects.filter(code=code).first()
    if table is None or not at.isdecimal() or int(at) > LAST_US:
        raise LookupError(f"there is no table {code!r} at {at!r}")
    now = from_us(int(at))
    shifts = ShiftBook(now, now)
    window = at_table(window_at(shifts, now), shifts, table.code)
    waiting = queue_plans(tables=[table.pk], arcs=True)
    [data] = today_data([table], window.start_us, window.end_us, now, waiting)
    row = table_today(data, window, the_shop().run_gap_s * S)
    return _Shown(data, row, window, now, shifts.zone)


def shift(id: str) -> Figure:
    """Where the staffed time of a shift went, run by run and stop by stop."""
    shown = _shown(id)
    burns = [(arc.on_us, arc.off_us) for arc in shown.data.arcs]
    _, staffed = accounted(shown.data, shown.window, burns)
    rows, burnt = _burnt(shown.data, staffed)
    shares = shown.row.shares
    if shares.entered_burning_s:
        entered = minutes(shares.entered_burning_s)
        rows.append(OpenedRow("burnt while the source was silent", entered, "entered"))
    stopped: list[Span] = []
    for stop in shown.data.stops:
        heard = stopped_spans([stop], shown.data.hearing.silences)
        fresh = subtract(intersect(heard, staffed), [*burnt])
        fresh = subtract(fresh, stopped)
        stopped = union([*stopped, *fresh])
        if us := length(fresh):
            label = f"stopped {shown.clock(stop.from_us)}: {stop.label}"
            rows.append(OpenedRow(label, minutes(us / S), "entered"))
    if shares.unknown_s:
        rows.append(OpenedRow("the source was silent", minutes(shares.unknown_s), "unknown"))
    rows.append(OpenedRow("waiting: all the rest", minutes(shares.waiting_s), "measured"))
    rows.append(OpenedRow("Time so far", minutes(shares.total_s), total=True))
    if shares.outside_s:
        rows.append(OpenedRow("Burnt outside shifts, in none of these", minutes(shares.outside_s)))
    share = shares.burning_share
    of = (
        "unknown"
        if share is None
        else f"{share * 100:.0f} % of {minutes(shares.total_s - shares.unknown_s)}"
    )
    value = f"{minutes(shares.burning_s)} burning, {of}"
    facts = {"burning_s": shares.burning_s, "total_s": shares.total_s}
    return Figure(shown.title, value, "measured", HOW_SHIFT, tuple(rows), shown.now, facts)


def _burnt(data: TableData, staffed: list[Span]) -> tuple[list[OpenedRow], list[Span]]:
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
    rows = []
    for whose, us in spent.items():
        run = names.get(whose) if isinstance(whose, uuid.UUID) else None
        if not us:
            continue
        label = f"burnt by {run.nest}" if run else str(whose)
        note = f"{arcs[whose]} arc{'' if arcs[whose] == 1 else 's'}"
        kind, key = ("run", str(run.run_id)) if run else ("", "")
        rows.append(OpenedRow(label, minutes(us / S), "measured", note, kind, key))
    return rows, intersect(union(covered), staffed)


def _whose(arc: ArcNow, runs: dict[int, RunToday]) -> uuid.UUID | str:
    run = runs.get(arc.segment_id or -1)
    if run is not None:
        return run.run_id
    return "burnt, and marked as no job" if arc.said else "burnt in no run yet"


def pace(id: str) -> Figure:
    """How far a table is ahead of its plan, or behind it: run by run."""
    shown = _shown(id)
    found = paced(shown.data, shown.window.start_us, shown.window.closed)
    if found is None:
        how = "no planned contour was seen burnt, or an open run has no plan"
        return Figure(shown.title, "pace unknown", "unknown", how)
    rows = [
        OpenedRow(f"plan of what {run.nest} burnt", minutes(found.done_us[run.run_id] / S),
                  "planned", "", "run", str(run.run_id))
        for run in shown.data.runs
        if run.run_id in found.done_us
    ]  # fmt: skip
    done_us = sum(found.done_us.values())
    rows.append(OpenedRow("Planned time done", minutes(done_us / S), total=True))
    since = found.until_us - shown.window.start_us
    begin, end = shown.clock(shown.window.start_us), shown.clock(found.until_us)
    rows.append(OpenedRow(f"{begin} to {end}, the last planned arc", minutes(since / S)))
    lost_us = found.lost_us(found.until_us)
    if lost_us:
        taken = f"−{minutes(lost_us / S)}"
        rows.append(OpenedRow("planned stops, runs without a plan, no shift", taken))
    rows.append(OpenedRow("Time there was for it", minutes((since - lost_us) / S), total=True))
    ahead = found.at(found.steps[-1]).ahead_min
    value = f"{abs(ahead):,.0f} min {'ahead of' if ahead > 0 else 'behind'} plan"
    facts = {"ahead_min": ahead}
    return Figure(shown.title, value, "measured", HOW_PACE, tuple(rows), shown.now, facts)


def outlook(id: str) -> Figure:
    """When a table's work really ends."""
    shown = _shown(id)
    run, contour = current_of(shown.data)
    rest_us = rest_of(run, contour)
    rows = []
    if run is not None and rest_us:
        what = f"rest of {run.nest}, the run on the table"
        rows.append(OpenedRow(what, minutes(rest_us / S), "planned", "", "run", str(run.run_id)))
    for item in begun_in(shown.data.queue, shown.window, rest_us):
        rows.append(
            OpenedRow(f"{item.nest}, waits", minutes(item.total_s), "planned", item.wear_set)
        )
    found = shown.row.outlook
    if found is None:
        return Figure(
            shown.title, "nothing is left", "planned", HOW_OUTLOOK, tuple(rows), shown.now
        )
    rows.append(OpenedRow("Planned", minutes(found.plan_s), "planned", found.basis, total=True))
    if found.middle_s is None or found.low_s is None or found.high_s is None:
        return Figure(shown.title, "end unknown", "unknown", HOW_OUTLOOK, tuple(rows), shown.now)
    rows.append(OpenedRow("Expected", minutes(found.middle_s), "planned",
                          f"{minutes(found.low_s)} to {minutes(found.high_s)}"))  # fmt: skip
    ends = [shown.clock(shown.window.now_us + s * S)
            for s in (found.middle_s, found.low_s, found.high_s)]  # fmt: skip
    value = f"ends {ends[0]}, between {ends[1]} and {ends[2]}"
    facts = {"plan_s": found.plan_s, "middle_s": found.middle_s}
    return Figure(shown.title, value, "planned", HOW_OUTLOOK, tuple(rows), shown.now, facts)
