"""The strip read out: clock times, durations, and the sentence a screen reader hears."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache

from shopfloor.svg.strip.frame import US
from shopfloor.svg.strip.types import Pace, Stoppage, StripTable
from shopfloor.wording.counts import count

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
OFF_PLAN_MIN = 8.0  # behind by more than this is off plan
STOPPAGES_SAID = 3


def local(at_us: int, zone: tzinfo) -> datetime:
    return (EPOCH + timedelta(microseconds=at_us)).astimezone(zone)


def clock(at_us: int, zone: tzinfo, beside_us: int | None = None) -> str:
    """HH:MM in the zone; with the weekday when that is not the day of `beside_us`."""
    when = local(at_us, zone)
    if beside_us is not None and local(beside_us, zone).date() != when.date():
        return f"{when:%a %H:%M}"
    return f"{when:%H:%M}"


def duration(span_s: float) -> str:
    minutes = round(span_s / 60)
    if minutes < 1:
        return f"{round(span_s)} s"
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def off_plan(pace: Pace | None) -> bool:
    return pace is not None and pace.ahead_min < -OFF_PLAN_MIN


def pace_words(table: StripTable) -> str:
    """ "18 min behind", with the time it was true when the feed is silent; "pace unknown" where
    there is work and nothing to hold it against."""
    pace = table.last_pace
    if pace is None:
        return "pace unknown" if table.arcs or table.runs else ""
    minutes = round(abs(pace.ahead_min))
    said = (
        "on plan" if minutes < 1 else f"{minutes} min {'ahead' if pace.ahead_min > 0 else 'behind'}"
    )
    if table.silent_since_us is not None:
        said += f" at {clock(pace.at_us, table.zone)}"
    return said


def silent_words(table: StripTable) -> str:
    """ "no lines since 11:14", or nothing while the source is heard."""
    if table.silent_since_us is None:
        return ""
    if table.sourceless:
        return "no source yet"
    return f"no lines since {clock(table.silent_since_us, table.zone, table.now_us)}"


def ends_words(table: StripTable) -> str:
    """ "ends 14:21 (14:02–14:47)", or nothing where no forecast stands."""
    if table.forecast is None:
        return ""
    f = table.forecast
    low, mid, high = (
        clock(t, table.zone, table.now_us) for t in (f.low_us, f.median_us, f.high_us)
    )
    return f"ends {mid} ({low}–{high})"


def hour_ticks(start_us: int, end_us: int, zone: tzinfo) -> list[tuple[int, str]]:
    """Every whole local hour in the window, 23 or 25 of them on a day the clock is moved. The
    repeated hour says "again"; zones off the hour by quarters are met too."""
    return list(_ticks(start_us, end_us, zone))


@lru_cache(maxsize=64)
def _ticks(start_us: int, end_us: int, zone: tzinfo) -> tuple[tuple[int, str], ...]:
    """Kept, for every strip of a page has the same window at each width."""
    step = 15 * 60 * US
    out = []
    for at in range(-(-start_us // step) * step, end_us + 1, step):
        when = local(at, zone)
        if when.minute == 0:
            out.append((at, f"{when:%H:%M} again" if when.fold else f"{when:%H:%M}"))
    return tuple(out)


def aria_label(table: StripTable) -> str:
    """The strip in a sentence: where it stands, when it ends, what stood in the way."""
    zone = table.zone
    said = [_standing(table), _ending(table), *_stopped(table.stoppages, zone)]
    loose = [a for a in table.arcs if a.state == "unassigned"]
    if loose:
        first, last = min(a.on_us for a in loose), max(a.off_us for a in loose)
        arcs = "1 arc" if len(loose) == 1 else f"{len(loose)} arcs"
        said.append(f"{arcs} without a job {clock(first, zone)} to {clock(last, zone)}")
    if table.arcs:
        burnt_s = sum(a.off_us - a.on_us for a in table.arcs) / US
        arcs = "1 arc" if len(table.arcs) == 1 else f"{len(table.arcs)} arcs"
        said.append(f"{arcs}, {duration(burnt_s)} of arc")
    elif table.planned:
        first_plan = min(table.planned, key=lambda p: p.from_us)
        said.append(
            f"nothing cut yet; {first_plan.label} is planned for {clock(first_plan.from_us, zone)}"
        )
    else:
        said.append("nothing cut and nothing planned")
    return f"{table.name}: " + "; ".join(s for s in said if s) + "."


def _standing(table: StripTable) -> str:
    pace = table.last_pace
    if pace is None:
        said = "pace unknown"
    else:
        minutes = round(abs(pace.ahead_min))
        unit = "minute" if minutes == 1 else "minutes"
        where = "ahead of" if pace.ahead_min > 0 else "behind"
        said = "on plan" if minutes < 1 else f"{minutes} {unit} {where} plan"
        said += f" at {clock(pace.at_us, table.zone)}"
    silent = silent_words(table)
    return f"{silent}; {said}" if silent else said


def _ending(table: StripTable) -> str:
    f = table.forecast
    if f is None and table.planned:
        last_us = max(planned.to_us for planned in table.planned)
        return f"planned until {clock(last_us, table.zone, table.now_us)}, how surely unknown"
    if f is None:
        return "end unknown"
    low, mid, high = (
        clock(t, table.zone, table.now_us) for t in (f.low_us, f.median_us, f.high_us)
    )
    return f"ends about {mid}, between {low} and {high}"


def _stopped(stoppages: Sequence[Stoppage], zone: tzinfo) -> list[str]:
    unplanned = [s for s in stoppages if s.kind != "planned"]
    longest = sorted(unplanned, key=lambda s: s.from_us - s.to_us)[:STOPPAGES_SAID]
    said = [
        f"{s.label} {clock(s.from_us, zone)} to {clock(s.to_us, zone)}"
        for s in sorted(longest, key=lambda s: s.from_us)
    ]
    if len(unplanned) > STOPPAGES_SAID:
        said.append(count(len(unplanned) - STOPPAGES_SAID, "more stoppage", "more stoppages"))
    return said
