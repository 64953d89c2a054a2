"""One table's shift, worked out from its rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from planning.calc import spent
from planning.calc.ahead.clock import StaffedClock
from planning.calc.spans import Span, intersect, length, subtract, union
from planning.reports.queue import Queued
from planning.reports.shapes import Cluster, Coverage, RunNow, Shares, TableToday
from planning.reports.today_ahead import Outlook, ends_of
from planning.reports.today_data import ArcNow, RunToday, StopNow, TableData
from planning.reports.today_pace import pace
from planning.reports.today_window import Window
from shopfloor.chart.duties import fitted_set, set_words
from shopfloor.runs.silences import SourceSilence
from shopfloor.svg.strip import types as strip

S = 1_000_000
LONGEST_OVERTIME_US = 4 * 3600 * S


def shares_of(window: spent.Shares) -> Shares:
    found = window.burning()
    share, low, high = found if found else (None, None, None)
    return Shares(
        burning_s=window.burning_us / S,
        stopped_s=window.stopped_us / S,
        waiting_s=window.waiting_us / S,
        unknown_s=window.unknown_us / S,
        torch_s=window.torch_us / S,
        burning_share=share,
        burning_low=low,
        burning_high=high,
        entered_s=window.entered_us / S,
        entered_burning_s=window.entered_burning_us / S,
    )


def table_today(
    data: TableData, window: Window, gap_us: int, clock: StaffedClock | None = None
) -> TableToday:
    """Puts one table together. Without its `clock` nothing is said of what is ahead."""
    burns = [(arc.on_us, arc.off_us) for arc in data.arcs]
    shares = _shares(data, window, burns)
    run, contour = current_of(data)
    rest = rest_of(run, contour)
    ahead = begun_in(data.queue, window, rest)
    outlook = _outlook(data, window, (run, rest), ahead, clock)
    table = data.table
    return TableToday(
        table_id=table.pk,
        code=table.code,
        name=table.name,
        shift=window.name,
        shift_date=window.date,
        strip=_strip(data, window, run, rest, ahead, outlook, clock),
        shares=shares,
        coverage=Coverage(
            measured=shares.burning_s + shares.waiting_s - shares.entered_s,
            entered=shares.stopped_s + shares.entered_s,
            unknown=shares.unknown_s,
        ),
        silences=data.hearing.silences,
        outlook=outlook,
        current=_now(run, contour, rest),
        waiting=len(data.queue),
        unassigned=tuple(clusters_of(table.code, data.arcs, gap_us)),
        source_from_us=data.hearing.from_us if data.hearing.listens else None,
        program=data.program,
    )


def _outlook(
    data: TableData,
    window: Window,
    current: tuple[RunToday | None, int | None],
    ahead: Sequence[Queued],
    clock: StaffedClock | None,
) -> Outlook | None:
    """None where nothing is left, or nothing is asked."""
    run, rest_us = current
    plans = ([rest_us / S] if rest_us else []) + [item.total_s or 0.0 for item in ahead]
    if not plans or clock is None:
        return None
    ends = ends_of(data, run, ahead, clock, window.now_us, window.end_us)
    return Outlook(math.fsum(plans), ends)


def accounted(
    data: TableData, window: Window, burns: Sequence[Span]
) -> tuple[list[Span], list[Span]]:
    """The time so far that a table is accounted for, and of it the staffed part."""
    whole = heard_span(data.hearing, burns, window.start_us, min(window.now_us, window.end_us))
    return whole, subtract(whole, union(window.closed))


def _shares(data: TableData, window: Window, burns: Sequence[Span]) -> Shares:
    """Of staffed time; what burnt while no shift was stands beside it."""
    whole, staffed = accounted(data, window, burns)
    closed = union(window.closed)
    stops = stopped_spans(data.stops, data.hearing.silences)
    used = spent.shares(staffed, burns, stops, data.hearing.silences, data.hearing.entries)
    outside_us = length(intersect(intersect(union(burns), whole), closed)) if closed else 0
    return replace(shares_of(used), outside_s=outside_us / S)


def stopped_spans(stops: Sequence[StopNow], silences: Sequence[Span]) -> list[Span]:
    """Stoppages; of a pause that only the source tells of, what it was heard in."""
    said = [(stop.from_us, stop.to_us) for stop in stops if stop.vouched]
    seen = union((stop.from_us, stop.to_us) for stop in stops if not stop.vouched)
    return said + subtract(seen, union(silences))


def heard_span(
    hearing: SourceSilence, burns: Sequence[Span], start_us: int, until_us: int
) -> list[Span]:
    """The time a table is accounted for: not that before its source first was, unless another one
    saw it burn then."""
    first = min((on_us for on_us, _ in burns), default=until_us)
    begin = max(start_us, min(hearing.from_us, first))
    return [(begin, until_us)] if until_us > begin else []


def current_of(data: TableData) -> tuple[RunToday | None, int | None]:
    """The run that is open, and the last contour of it known to be cut."""
    going = [run for run in data.runs if run.state in ("open", "stopped")]
    run = next(
        (run for run in reversed(going) if run.state == "open"), going[-1] if going else None
    )
    if run is None:
        return None, None
    own = {segment.pk for segment in run.segments}
    latest = (
        arc.contour
        for arc in reversed(data.arcs)
        if arc.contour is not None and arc.segment_id in own
    )
    return run, next(latest, None)


def rest_of(run: RunToday | None, contour: int | None) -> int | None:
    if run is None or not run.steps_us:
        return None
    return sum(run.steps_us[contour or 0 :]) + (0 if contour else run.load_us)


def begun_in(queue: Sequence[Queued], window: Window, rest_us: int | None) -> list[Queued]:
    """What of the queue begins, by plan, before the window ends."""
    at = window.now_us + (rest_us or 0)
    ahead = []
    for item in queue:
        if at >= window.end_us:
            break
        if item.total_s is not None:
            ahead.append(item)
            at += round(item.total_s * S)
    return ahead


def _now(run: RunToday | None, contour: int | None, rest_us: int | None) -> RunNow | None:
    if run is None:
        return None
    return RunNow(
        run_id=str(run.run_id),
        nest=run.nest,
        wear_set=run.wear_set,
        duty=run.duty,
        opened_at=run.opened_at,
        contour=contour,
        contours=run.contours,
        planned_s=None if run.planned_us is None else run.planned_us / S,
        rest_s=None if rest_us is None else rest_us / S,
        operator=run.operator,
        jobs=run.jobs,
    )


def clusters_of(table: str, arcs: Sequence[ArcNow], gap_us: int) -> list[Cluster]:
    """Arcs nobody has said anything about, in stretches with pauses below the shop's run gap."""
    found: list[list[ArcNow]] = []
    last: dict[str, list[ArcNow]] = {}
    for arc in arcs:
        if arc.said or arc.open:
            continue
        group = last.get(arc.torch)
        if group is None or arc.on_us - group[-1].off_us > gap_us:
            group = last[arc.torch] = []
            found.append(group)
        group.append(arc)
    return [
        Cluster(
            table,
            group[0].torch,
            group[0].on_us,
            max(arc.off_us for arc in group),
            len(group),
            sum(arc.off_us - arc.on_us for arc in group) / S,
            group[0].key,
            group[-1].key,
            tuple(dict.fromkeys(arc.program for arc in group if arc.program)),
        )
        for group in found
    ]


def _strip(
    data: TableData,
    window: Window,
    run: RunToday | None,
    rest_us: int | None,
    ahead: Sequence[Queued],
    outlook: Outlook | None,
    clock: StaffedClock | None,
) -> strip.StripTable:
    planned = list(_planned(window, run, rest_us, ahead))
    end_us = window.end_us
    if planned and planned[-1].to_us > end_us:
        end_us = min(planned[-1].to_us, end_us + LONGEST_OVERTIME_US)
    paces = pace(data, window, clock)
    now_us = min(max(window.now_us, window.start_us), end_us)
    return strip.StripTable(
        name=data.table.name,
        start_us=window.start_us,
        end_us=end_us,
        now_us=now_us,
        zone=window.zone,
        arcs=_arcs(data.arcs),
        stoppages=tuple(
            strip.Stoppage(
                stop.from_us,
                stop.to_us,
                stop.label,
                strip.stoppage_kind(reasoned=stop.reasoned, planned=stop.planned),
            )
            for stop in data.stops
        ),
        sets=tuple(_sets(data, window)),
        runs=tuple(_runs(data, window)),
        planned=tuple(planned),
        silent_since_us=data.hearing.silent_since_us if data.hearing.listens else window.start_us,
        sourceless=not data.hearing.listens,
        pace=tuple(paces),
        plan_end_us=_plan_end(planned, outlook, paces, window.now_us),
        forecast=_forecast(outlook),
        shift_end_us=window.end_us,
    )


def _plan_end(
    planned: Sequence[strip.Planned],
    outlook: Outlook | None,
    paces: Sequence[strip.Pace],
    now_us: int,
) -> int | None:
    """When the list would be done at the pace that counts as neither ahead nor behind: the end
    that is expected, moved by what the table was ahead at its last arc and by what has passed
    since, in staffed time. Where that is unknown, the plan alone."""
    if not planned:
        return None
    ends = None if outlook is None else outlook.ends
    if ends is None or not paces:
        return planned[-1].to_us
    last, clock = paces[-1], ends.clock
    passed_s = clock.staffed(now_us / S) - clock.staffed(last.at_us / S)
    staffed_s = clock.staffed(ends.middle) + last.ahead_min * 60 - passed_s
    at = float(clock.wall(np.array([staffed_s]))[0])
    return round(at * S) if math.isfinite(at) else None


def _arcs(arcs: Sequence[ArcNow]) -> tuple[strip.Arc, ...]:
    """In one go: a page of ten tables has thousands."""
    drawn = [
        strip.Arc(on_us, off_us, "open" if still else "run" if said else "unassigned")
        for _, _, on_us, off_us, still, _, said, _, _, _ in arcs
    ]
    return tuple(drawn)


def _sets(data: TableData, window: Window) -> list[strip.FittedSet]:
    """Changes of set as the runs show them; what is fitted now where nothing ran."""
    found: list[strip.FittedSet] = []
    for run in data.runs:
        for segment in run.segments:
            label = set_words(segment.duty, segment.amps)
            if not found or found[-1].label != label:
                begin = max(segment.from_us, window.start_us)
                found.append(fitted_set(begin, segment.duty, label))
    if not found and data.fitted:
        found.append(fitted_set(window.start_us, *data.fitted))
    return found


def _runs(data: TableData, window: Window) -> list[strip.Run]:
    return [
        strip.Run(
            max(run.segments[0].from_us, window.start_us),
            max(run.segments[-1].to_us, window.start_us),
            run.nest,
            "cutting" if run.state in ("open", "stopped") else "done",
        )
        for run in data.runs
    ]


def _planned(
    window: Window, run: RunToday | None, rest_us: int | None, ahead: Sequence[Queued]
) -> list[strip.Planned]:
    at, found = window.now_us, []
    if run is not None and rest_us:
        found.append(strip.Planned(at, at + rest_us, run.nest, run.arcs_s[-_left(run, rest_us) :]))
        at += rest_us
    for item in ahead:
        end = at + round((item.total_s or 0.0) * S)
        found.append(strip.Planned(at, end, item.nest, item.arcs_s))
        at = end
    return found


def _left(run: RunToday, rest_us: int) -> int:
    """How many contours the rest of a plan is."""
    left, sums = 0, 0
    for step in reversed(run.steps_us):
        if sums >= rest_us:
            break
        sums += step
        left += 1
    return left


def _forecast(outlook: Outlook | None) -> strip.Forecast | None:
    if outlook is None or outlook.ends is None:
        return None
    ends = outlook.ends
    moments = ends.low, ends.middle, ends.high, ends.known_until
    return strip.Forecast(*(round(at * S) for at in moments))
