"""Each table's shift as it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from planning.calc import spent
from planning.calc.spans import Span, subtract, union
from planning.inputs.open_work import LONGEST_RUN
from planning.inputs.shifts import ShiftBook
from planning.inputs.table_time import clock_of
from planning.reports.jobs import job_rows
from planning.reports.notes.at_tables import of_past
from planning.reports.notes.reading import of_found, open_notes
from planning.reports.queue import Queued, queue_plans
from planning.reports.shapes import Shares, TableToday, Today
from planning.reports.today_data import TableData, today_data
from planning.reports.today_lede import lede
from planning.reports.today_table import heard_span, shares_of, table_today
from planning.reports.today_window import Window
from shopfloor.models import Evidence, Stoppage, Table
from shopfloor.runs.arcs import master_arcs, to_us
from shopfloor.runs.silences import source_silences
from shopfloor.site.calendar import day_span
from shopfloor.site.queries import the_shop
from telemetry.read_once import read_once

AHEAD = timedelta(days=14)  # of the shifts that work may go on into


@read_once()
def today(*, now: datetime, over: bool = False) -> Today:
    """All active tables in the shift `now` falls in, or the local day outside any shift. Of a shift
    that is `over` only what happened in it: no queue, no jobs, and the notes of its tables."""
    shop = the_shop()
    shifts = ShiftBook(now, now)
    tables = list(Table.objects.filter(active=True))
    waiting = [] if over else queue_plans(arcs=True)
    both = tables_at(tables, now, shifts, waiting)
    rows = [row for _data, row in both]
    if over:
        found = [one for data, row in both for one in of_past(data, row)]
        notes = of_found(found, tables, now, shifts.zone)
    else:
        notes = open_notes(now, shifts.zone) if tables else []
    jobs = None if over else job_rows(now=now, waiting=waiting)
    return Today(
        now=now,
        zone=shop.zone,
        tables=tuple(rows),
        notes=tuple(notes),
        lede=lede(rows, notes),
        jobs=None if jobs is None else tuple(jobs),
    )


def tables_at(
    tables: Sequence[Table],
    now: datetime,
    shifts: ShiftBook,
    waiting: Sequence[Queued],
    *,
    jobs: bool = False,
) -> list[tuple[TableData, TableToday]]:
    """Each table with its shift as it stands. `jobs`: those of runs that are over too."""
    window = window_at(shifts, now)
    data = today_data(tables, window.start_us, window.end_us, now, waiting, jobs=jobs)
    gap_us = the_shop().run_gap_s * 1_000_000
    ahead = shifts_ahead(data, now)
    found = []
    for each in data:
        code = each.table.code
        clock = clock_of(ahead, code)
        found.append((each, table_today(each, at_table(window, shifts, code), gap_us, clock)))
    return found


def shifts_ahead(data: Sequence[TableData], now: datetime) -> ShiftBook:
    """From the opening of the oldest run that is on a table, whose time so far is read there, but
    not from further back than `LONGEST_RUN`."""
    opened = [run.opened_at for each in data for run in each.runs if run.closed_at is None]
    return ShiftBook(max(min([now, *opened]), now - LONGEST_RUN), now + AHEAD)


def window_at(shifts: ShiftBook, now: datetime) -> Window:
    """The shift `now` falls in, or the local day outside any shift."""
    now_us = to_us(now)
    if found := shifts.at(now_us):
        return Window.of_shift(found, now_us, shifts.zone)
    day = now.astimezone(shifts.zone).date()
    start, end = day_span(day, shifts.zone)
    whole = (to_us(start), to_us(end))
    return Window("", day, *whole, now_us, shifts.zone)


def at_table(window: Window, shifts: ShiftBook, table: str) -> Window:
    """The window as a table has it: closed while nobody is scheduled there, or it is down."""
    whole = (window.start_us, window.end_us)
    return replace(window, closed=tuple(subtract([whole], shifts.open_at(table))))


def table_shares(*, table_id: int, start: datetime, end: datetime, now: datetime) -> Shares:
    """Where one table's time in [start, min(end, now)) went. Raises `LookupError` for a table
    there is not."""
    table = Table.objects.filter(pk=table_id).first()
    if table is None:
        raise LookupError(_("there is no table {table_id}").format(table_id=table_id))
    low, high = to_us(start), min(to_us(end), to_us(now))
    day_us = to_us(start) - to_us(start - timedelta(days=1))
    burns = [
        (on_us, min(high, off_us) if off_us is not None else high)
        for on_us, off_us in master_arcs(table)
        .filter(on_us__gte=low - day_us, on_us__lt=high)
        .values_list("on_us", "off_us")
    ]
    heard = source_silences([table], low, high, now)[table.code]
    rows = Stoppage.objects.filter(
        table=table, started_at__gte=start - timedelta(days=7), started_at__lt=end
    )
    stops: list[Span] = []
    for begun, ended, reason, evidence in rows.values_list(
        "started_at", "ended_at", "reason", "evidence"
    ):
        span = (to_us(begun), to_us(ended) if ended else high)
        vouched = reason is not None or evidence != Evidence.MEASURED
        stops += [span] if vouched else subtract([span], union(heard.silences))
    return shares_of(
        spent.shares(
            heard_span(heard, burns, low, high),
            burns,
            stops,
            heard.silences,
            heard.entries,
        )
    )
