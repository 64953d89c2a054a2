"""The strip read out: clock times, durations, and the sentence a screen reader hears."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache

from planning.calc.dates import timed, weekday_time
from planning.calc.translated import gettext as _
from planning.calc.translated import ngettext
from shopfloor.svg.strip.frame import US
from shopfloor.svg.strip.types import Forecast, Pace, Stoppage, StripTable
from shopfloor.wording.counts import count

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
STOPPAGES_SAID = 3


def local(at_us: int, zone: tzinfo) -> datetime:
    return (EPOCH + timedelta(microseconds=at_us)).astimezone(zone)


def clock(at_us: int, zone: tzinfo, beside_us: int | None = None) -> str:
    """HH:MM in the zone; with the weekday when that is not the day of `beside_us`."""
    when = local(at_us, zone)
    if beside_us is not None and local(beside_us, zone).date() != when.date():
        return weekday_time(when)
    return timed(when)


def duration(span_s: float) -> str:
    minutes = round(span_s / 60)
    if minutes < 1:
        return f"{round(span_s)} s"
    return (
        _("{minutes} min").format(minutes=minutes)
        if minutes < 60
        else _("{hours} h {minutes:02d} min").format(hours=minutes // 60, minutes=minutes % 60)
    )


def off_plan(pace: Pace | None) -> bool:
    return pace is not None and pace.ahead_min < -pace.usual_min


def pace_words(table: StripTable) -> str:
    """ "18 min behind", with the time it was true when the feed is silent; "pace unknown" where
    there is work and nothing to hold it against."""
    pace = table.last_pace
    if pace is None:
        return _("pace unknown") if table.arcs or table.runs else ""
    minutes = round(abs(pace.ahead_min))
    if minutes < 1:
        said = _("on plan")
    else:
        off = _("{minutes} min ahead") if pace.ahead_min > 0 else _("{minutes} min behind")
        said = off.format(minutes=minutes)
    if table.silent_since_us is None:
        return said
    return _("{pace} at {time}").format(pace=said, time=clock(pace.at_us, table.zone))


def silent_words(table: StripTable) -> str:
    """ "no lines since 11:14", or nothing while the source is heard."""
    if table.silent_since_us is None:
        return ""
    if table.sourceless:
        return _("no source yet")
    return _("no lines since {time}").format(
        time=clock(table.silent_since_us, table.zone, table.now_us)
    )


def ends_words(table: StripTable) -> str:
    """ "ends 14:21 (14:02–14:47)", or nothing where no forecast stands."""
    if table.forecast is None:
        return ""
    low, mid, high = range_words(table, table.forecast)
    if low is None:
        return _("ends beyond the calendar")
    if high is None:
        return _("ends {mid} (after {low})").format(mid=mid, low=low)
    return _("ends {mid} ({low}–{high})").format(mid=mid, low=low, high=high)


def range_words(table: StripTable, f: Forecast) -> tuple[str | None, str, str | None]:
    """The range's start, its middle and its end; None beyond the calendar."""
    low, mid, high = (
        clock(t, table.zone, table.now_us) if f.known(t) else None
        for t in (f.low_us, f.median_us, f.high_us)
    )
    return low, mid or _("beyond the calendar"), high


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
            out.append(
                (
                    at,
                    _("{time} again").format(time=timed(when)) if when.fold else timed(when),
                )
            )
    return tuple(out)


def aria_label(table: StripTable) -> str:
    """The strip in a sentence: where it stands, when it ends, what stood in the way."""
    zone = table.zone
    said = [_standing(table), _ending(table), *_stopped(table.stoppages, zone)]
    loose = [a for a in table.arcs if a.state == "unassigned"]
    if loose:
        first, last = min(a.on_us for a in loose), max(a.off_us for a in loose)
        arcs = _arcs(len(loose))
        said.append(
            _("{arcs} without a job {first} to {last}").format(
                arcs=arcs, first=clock(first, zone), last=clock(last, zone)
            )
        )
    if table.arcs:
        burnt_s = sum(a.off_us - a.on_us for a in table.arcs) / US
        arcs = _arcs(len(table.arcs))
        said.append(_("{arcs}, {time} of arc").format(arcs=arcs, time=duration(burnt_s)))
    elif table.planned:
        first_plan = min(table.planned, key=lambda p: p.from_us)
        said.append(
            _("nothing cut yet; {work} is planned for {time}").format(
                work=first_plan.label, time=clock(first_plan.from_us, zone)
            )
        )
    else:
        said.append(_("nothing cut and nothing planned"))
    return f"{table.name}: " + "; ".join(s for s in said if s) + "."


def _arcs(number: int) -> str:
    return ngettext("{number} arc", "{number} arcs", number).format(number=number)


def _standing(table: StripTable) -> str:
    pace = table.last_pace
    if pace is None:
        said = _("pace unknown")
    else:
        minutes = round(abs(pace.ahead_min))
        if minutes < 1:
            said = _("on plan at {time}")
        elif pace.ahead_min > 0:
            said = ngettext(
                "{minutes} minute ahead of plan at {time}",
                "{minutes} minutes ahead of plan at {time}",
                minutes,
            )
        else:
            said = ngettext(
                "{minutes} minute behind plan at {time}",
                "{minutes} minutes behind plan at {time}",
                minutes,
            )
        said = said.format(minutes=minutes, time=clock(pace.at_us, table.zone))
    silent = silent_words(table)
    return f"{silent}; {said}" if silent else said


def _ending(table: StripTable) -> str:
    f = table.forecast
    if f is None and table.planned:
        last_us = max(planned.to_us for planned in table.planned)
        return _("planned until {time}, how surely unknown").format(
            time=clock(last_us, table.zone, table.now_us)
        )
    if f is None:
        return _("end unknown")
    low, mid, high = range_words(table, f)
    if low is None:
        return _("ends beyond the calendar")
    if high is None:
        return _("ends about {mid}, most likely after {low}").format(mid=mid, low=low)
    return _("ends about {mid}, between {low} and {high}").format(mid=mid, low=low, high=high)


def _stopped(stoppages: Sequence[Stoppage], zone: tzinfo) -> list[str]:
    unplanned = [s for s in stoppages if s.kind != "planned"]
    longest = sorted(unplanned, key=lambda s: s.from_us - s.to_us)[:STOPPAGES_SAID]
    said = [
        _("{stop} {start} to {end}").format(
            stop=s.label, start=clock(s.from_us, zone), end=clock(s.to_us, zone)
        )
        for s in sorted(longest, key=lambda s: s.from_us)
    ]
    if len(unplanned) > STOPPAGES_SAID:
        said.append(
            count(len(unplanned) - STOPPAGES_SAID, "{n} more stoppage", "{n} more stoppages")
        )
    return said
