"""Today's report as the page draws it. Nothing is worked out here: words, links and drawings."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from dashboards import theme
from dashboards.access import Reader
from dashboards.today.addresses import Suggested, note_view
from planning.calc.dates import LONG_WEEKDAY, dated
from planning.calc.numbers import filled
from planning.calc.said import to_reader
from planning.reports.shapes import TableToday, Today
from shopfloor.svg import strip
from shopfloor.svg.strip.types import Forecast, StripTable
from shopfloor.svg.strip.words import clock, local, off_plan, range_words

log = logging.getLogger(__name__)
STILL_OPEN = ("assign_arcs", "reason")  # what can be done of a shift that is over
BESIDE = 2  # notes beside a strip, so that the next table stays in sight
MANY = 5  # more tables than this are drawn with low strips
SAFE = N_("This strip could not be drawn. Its lines are safe in the journal.")
THEN = N_("Load the page again; the sources page says what came in.")


@dataclass(frozen=True, slots=True)
class Fact:
    """Something said of a table, and where it opens."""

    text: str
    url: str = ""


@dataclass(slots=True)
class Row:
    """One table on the page."""

    code: str
    name: str
    facts: list[Fact]
    standing: str
    off: bool
    ends: str
    strips: str
    silent: str
    pace_url: str
    end_url: str
    notes: list[dict[str, Any]] = field(default_factory=list)

    @property
    def more(self) -> int:
        """Notes that do not fit beside the strip."""
        return max(len(self.notes) - BESIDE, 0)


@dataclass(slots=True)
class Page:
    lede: str
    hours: str
    rows: list[Row]
    loose: list[dict[str, Any]]  # notes of no single table
    notes: int
    tight: bool


def page_of(
    today: Today, reader: Reader, suggested: Mapping[str, Suggested], *, live: bool = True
) -> Page:
    """The whole page of one shift. `suggested` is by the key of a stretch's first arc. Of a shift
    that is over, what was still expected at its end is left out."""
    if not live:
        today = _over(today)
    tight = len(today.tables) > MANY
    tables = aligned(today.tables)
    rows = [_row(table, reader, tight) for table in tables]
    by_table = {row.code: row for row in rows} | {row.name: row for row in rows}
    loose: list[dict[str, Any]] = []
    for note in today.notes:
        view = note_view(note, reader, suggested)
        row = by_table.get(note.table)
        (row.notes if row else loose).append(view)
    hours = strip.hours(tables[0].strip) if tables else ""
    lede = to_reader(today.lede, inch=reader.inch)
    return Page(lede, hours, rows, loose, len(today.notes), tight)


def _over(today: Today) -> Today:
    tables = tuple(
        replace(
            table,
            outlook=None,
            strip=replace(table.strip, planned=(), forecast=None, plan_end_us=None),
        )
        for table in today.tables
    )
    notes = tuple(note for note in today.notes if any(act.code in STILL_OPEN for act in note.acts))
    burnt = [
        _("{table} burnt {table2}").format(table=table.name, table2=_burnt(table))
        for table in tables
    ]
    said = f"{', '.join(burnt)}." if burnt else today.lede
    return replace(today, tables=tables, notes=notes, lede=said)


def _burnt(table: TableToday) -> str:
    burnt_s = table.shares.burning_s + table.shares.outside_s
    return theme.span(burnt_s) if burnt_s else _("nothing")


def window(today: Today, at: datetime) -> tuple[datetime, datetime]:
    """From when to when the page tells, as far as it has come."""
    begin = min((local(table.strip.start_us, UTC) for table in today.tables), default=at)
    return begin, at


def aligned(tables: Sequence[TableToday]) -> list[TableToday]:
    """The same window for every strip, so that an hour stands under the same hour everywhere."""
    if not tables:
        return []
    start = min(table.strip.start_us for table in tables)
    end = max(table.strip.end_us for table in tables)
    return [
        replace(table, strip=replace(table.strip, start_us=start, end_us=end)) for table in tables
    ]


def _row(table: TableToday, reader: Reader, tight: bool) -> Row:
    pace = table.strip.last_pace
    pace_url = _opened("pace", table) if pace is not None else ""
    end_url = _opened("outlook", table) if table.strip.forecast is not None else ""
    return Row(
        code=table.code,
        name=table.name,
        facts=_facts(table, reader, pace_url, end_url),
        standing=strip.pace_words(table.strip),
        off=off_plan(pace),
        ends=_ends(table),
        strips=_drawn(table, tight),
        silent=_silent(table.strip),
        pace_url=pace_url,
        end_url=end_url,
    )


def _drawn(table: TableToday, tight: bool) -> str:
    """The strip; where it cannot be drawn the others stay and it says so."""
    draw = strip.compact_strips if tight else strip.strips
    try:
        return draw(table.strip)
    except Exception:
        log.exception("strip of %s", table.code)
        return strip.failed(table.strip, _(SAFE), _(THEN))


def _opened(kind: str, table: TableToday) -> str:
    return reverse("figure", args=[kind, f"{table.code}@{table.strip.now_us}"])


def _facts(table: TableToday, reader: Reader, pace_url: str, end_url: str) -> list[Fact]:
    """What is known of the shift; its times, its pace and its end open."""
    said = [Fact(words) for words in _standing(table, reader)]
    if times := _times(table):
        url = _opened("shift", table)
        said += [Fact(words, url) for words in times]
    if pace_url:
        said.append(Fact(_("its pace"), pace_url))
    if end_url:
        said.append(Fact(_("its end"), end_url))
        said += [Fact(words, end_url) for words in _held(table)]
    return said


def _held(table: TableToday) -> list[str]:
    """How the last ranges of such ends held."""
    ends = table.outlook.ends if table.outlook else None
    scored = (ends.stored.scored if ends else None) or {}
    if not scored.get("said"):
        past = scored.get("replayed")
        words = _("replayed on past days, {held} of {said} ranges held")
        return [words.format(held=past["held"], said=past["said"])] if past else []
    return [
        _("{held} of its last {said} ranges held").format(held=scored["held"], said=scored["said"])
    ]


def _standing(table: TableToday, reader: Reader) -> list[str]:
    said = []
    if table.current is not None:
        if reader.persons and table.current.operator:
            said.append(table.current.operator)
        said.append(table.current.wear_set)
    elif table.strip.sets:
        said.append(table.strip.sets[-1].label)
    if table.program:
        said.append(_("says program {program}").format(program=table.program))
    return said


def _times(table: TableToday) -> list[str]:
    said, shares = [], table.shares
    known_s = shares.total_s - shares.unknown_s
    if shares.total_s > 0:
        said.append(_("arc {burning_s}").format(burning_s=theme.span_short(shares.burning_s)))
        said.append(theme.percent(shares.burning_share, theme.span_short(known_s)))
    if shares.outside_s >= 1:
        said.append(
            _("{outside_s} burnt outside shifts").format(outside_s=theme.span(shares.outside_s))
        )
    begun = table.source_from_us
    if begun is not None and table.strip.start_us < begun < table.strip.now_us:
        said.append(_("no source before {begun}").format(begun=clock(begun, table.strip.zone)))
    if (
        shares.unknown_s >= 60
        and shares.burning_low is not None
        and shares.burning_high is not None
    ):
        said.append(
            filled(
                _("{unknown_s} unknown: {burning_low:.0f}–{burning_high:.0f} % possible"),
                unknown_s=theme.span(shares.unknown_s),
                burning_low=shares.burning_low * 100,
                burning_high=shares.burning_high * 100,
            )
        )
    if shares.entered_s >= 60:
        said.append(
            _("{entered_s} as entered, not measured: {entered_burning_s} burning").format(
                entered_s=theme.span(shares.entered_s),
                entered_burning_s=theme.span(shares.entered_burning_s),
            )
        )
    return said


def _ends(table: TableToday) -> str:
    """Ends 14:21; 80 in 100: between 14:02 and 14:47. Plan 14:03."""
    drawn, said = table.strip, []
    if drawn.forecast is not None:
        said.append(_end_words(drawn, drawn.forecast))
    elif table.outlook is not None and table.waiting:
        said.append(_("End unknown."))
    if drawn.plan_end_us is not None:
        said.append(
            _("Plan {plan_end_us}.").format(
                plan_end_us=clock(drawn.plan_end_us, drawn.zone, drawn.now_us)
            )
        )
    return " ".join(said)


def _end_words(drawn: StripTable, forecast: Forecast) -> str:
    """Where an end lies beyond the shifts that are laid out, no moment is named."""
    low, mid, high = range_words(drawn, forecast)
    if low is None:
        return _("Ends beyond the calendar.")
    if high is None:
        return _("Ends {mid}; 90 in 100: after {low}.").format(mid=mid, low=low)
    return _("Ends {mid}; 80 in 100: between {low} and {high}.").format(mid=mid, low=low, high=high)


def _silent(drawn: StripTable) -> str:
    if drawn.silent_since_us is None:
        return ""
    if drawn.sourceless:
        return _("No source yet: nothing is measured.")
    since, age_us = clock(drawn.silent_since_us, drawn.zone), drawn.now_us - drawn.silent_since_us
    if age_us < 0:  # this machine's clock was set back
        return _("No lines since {since}, by a clock that was ahead of this one.").format(
            since=since
        )
    return _("No lines since {since}, {age_us} ago.").format(
        since=since, age_us=theme.span(age_us / 1e6)
    )


def heading(today: Today, at: datetime, zone: ZoneInfo) -> tuple[str, str]:
    """Thursday 8 October; early shift, 06:00–14:30."""
    here = at.astimezone(zone)
    if not today.tables:
        return dated(here, LONG_WEEKDAY), ""
    first = today.tables[0]
    day = first.shift_date
    begins = clock(first.strip.start_us, zone)
    ends = clock(first.strip.shift_end_us or first.strip.end_us, zone)
    said = (
        _("{shift} shift, {begins}–{ends}").format(shift=first.shift, begins=begins, ends=ends)
        if first.shift
        else _("no shift at this time")
    )
    return dated(day, LONG_WEEKDAY), said
