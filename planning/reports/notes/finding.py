"""All that wants a hand at a moment; what the sweep writes down."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from planning.inputs.shifts import ShiftBook
from planning.reports.jobs import job_rows
from planning.reports.notes import at_desk
from planning.reports.notes.at_tables import of_table
from planning.reports.notes.found import Found, Moment
from planning.reports.notes.pieces import of_pieces, sets_fitted
from planning.reports.queue import queue_plans
from planning.reports.today import tables_at, window_at
from shopfloor.models import Table
from shopfloor.runs.arcs import to_us
from shopfloor.site.queries import the_shop
from telemetry.read_once import read_once


@read_once()
def find_all(now: datetime) -> list[Found]:
    """As many statements as Today takes, and those of stock, entries and intake."""
    return list(_all(now))


def _all(now: datetime) -> Iterator[Found]:
    shifts = ShiftBook(now, now)
    waiting = queue_plans(arcs=True)
    both = tables_at(list(Table.objects.filter(active=True)), now, shifts, waiting)
    tables, fitted = [data for data, _row in both], sets_fitted()
    start_us = window_at(shifts, now).start_us
    moment = Moment(now, to_us(now), start_us, the_shop().ask_reason_after_s * 1_000_000)
    yield from at_desk.of_alarms(moment.now_us)
    yield from at_desk.of_late_entries()
    for data, row in both:
        staffed = shifts.staffed_at(data.table.code)
        yield from of_table(data, row, staffed, fitted.get(data.table.pk), moment)
    yield from at_desk.of_downs(now)
    yield from at_desk.of_drift()
    yield from at_desk.of_verification()
    yield from at_desk.of_backups(now)
    yield from at_desk.of_signatures()
    yield from at_desk.of_amps(tables, moment)
    yield from at_desk.of_jobs(job_rows(now=now, waiting=waiting))
    yield from of_pieces(tables, now)
    yield from at_desk.of_plate()
