"""What the program proposes that a shift tells the next one, table by table."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby

from django.utils.translation import gettext as _

from planning.calc.said import to_reader
from planning.inputs.shifts import ShiftBook
from planning.reports.jobs import job_rows
from planning.reports.notes.reading import open_notes
from planning.reports.queue import queue_plans
from planning.reports.shapes import JobToday, Note, TableToday
from planning.reports.today import tables_at
from planning.reports.today_data import TableData
from shopfloor.models import Table
from shopfloor.runs.arcs import to_us
from shopfloor.runs.run_page import RunOfShift, runs_between
from shopfloor.wording.counts import count
from telemetry.read_once import read_once

AFTER = timedelta(hours=6)  # so long after a shift's end its line can still be written
JUST = timedelta(hours=1)  # and so long after the next one has begun
NEXT = 3  # nests, of those that wait
MOST = 4


@dataclass(frozen=True, slots=True)
class Draft:
    table_id: int
    code: str
    name: str
    text: str


@dataclass(frozen=True, slots=True)
class ShiftDrafts:
    """Of the shift that is on, or has just ended."""

    shift: str
    shift_date: date
    start: datetime
    end: datetime
    drafts: tuple[Draft, ...]


@read_once()
def drafts(now: datetime, *, inch: bool) -> ShiftDrafts | None:
    """None where no shift is on or has just been."""
    book = ShiftBook(now, now)
    on = book.at(to_us(now))
    ended = [span for span in book.spans if now - (JUST if on else AFTER) < span.end <= now]
    shift = ended[-1] if ended else on
    if shift is None:
        return None
    at = min(now, shift.end - timedelta(seconds=1))
    tables = list(Table.objects.filter(active=True))
    waiting = queue_plans(arcs=True)
    jobs = [job for job in job_rows(now=now, waiting=waiting) if job.late]
    notes = open_notes(now, book.zone)
    runs = runs_between(shift.start, at)
    made = []
    for data, row in tables_at(tables, at, book, waiting, jobs=bool(jobs)):
        own = [run for run in runs if run.table == row.name]
        lines = [
            *_done(own, row),
            *_stops(data),
            *_next(data),
            *_owed(data, jobs),
            *_wrong(notes, row, inch),
        ]
        text = "\n".join(lines) or _("Nothing was burnt and nothing waits.")
        made.append(Draft(row.table_id, row.code, row.name, text))
    return ShiftDrafts(shift.name, shift.date, shift.start, shift.end, tuple(made))


def _done(runs: Sequence[RunOfShift], row: TableToday) -> Iterator[str]:
    over: dict[str, list[RunOfShift]] = defaultdict(list)
    for run in reversed(runs):
        if run.closed_at is not None:
            over[run.nest].append(run)
    if over:
        yield _("Done: {runs}.").format(runs="; ".join(_nest(*one) for one in over.items()))
    on = row.current
    if on is not None and on.contour is not None:
        yield _("On the table: {nest}, contour {contour} of {contours}.").format(
            nest=on.nest, contour=on.contour, contours=on.contours
        )
    elif on is not None:
        yield _("On the table: {nest}, not begun to burn.").format(nest=on.nest)


def _nest(nest: str, runs: Sequence[RunOfShift]) -> str:
    good, scrap = sum(run.good for run in runs), sum(run.scrap for run in runs)
    pattern = (
        _("{sheets} of {nest}, {good} good, {scrap} scrap")
        if scrap
        else _("{sheets} of {nest}, {good} good")
    )
    sheets = count(len(runs), "{n} sheet", "{n} sheets")
    return pattern.format(sheets=sheets, nest=nest, good=good, scrap=scrap)


def _stops(data: TableData) -> Iterator[str]:
    minutes: Counter[str] = Counter()
    for stop in data.stops:
        minutes[stop.label] += stop.to_us - stop.from_us
    parts = [
        _("{reason} {minutes} min").format(reason=label, minutes=round(us / 60e6))
        for label, us in minutes.most_common(MOST)
    ]
    if parts:
        yield _("Stops: {stops}.").format(stops=", ".join(parts))


def _next(data: TableData) -> Iterator[str]:
    if not data.queue:
        yield _("Nothing waits on the list.")
        return
    blocks = [
        (nest, wear_set, sum(1 for _item in items))
        for (nest, wear_set), items in groupby(
            data.queue, key=lambda item: (item.nest, item.wear_set)
        )
    ]
    named = ", ".join(_block(*block) for block in blocks[:NEXT])
    left = sum(sheets for _nest, _set, sheets in blocks[NEXT:])
    if left > 0:
        sheets = count(left, "{n} sheet", "{n} sheets")
        yield _("Next: {nests}; then {sheets}.").format(nests=named, sheets=sheets)
    else:
        yield _("Next: {nests}.").format(nests=named)


def _block(nest: str, wear_set: str, sheets: int) -> str:
    """Sheets of one nest that follow each other on the list."""
    if sheets == 1:
        return _("{nest} with {set}").format(nest=nest, set=wear_set)
    return _("{sheets} sheets of {nest} with {set}").format(sheets=sheets, nest=nest, set=wear_set)


def _owed(data: TableData, late: Sequence[JobToday]) -> Iterator[str]:
    """Late jobs whose sheets this table has or waits for."""
    here = {job for item in data.queue for job in item.jobs}
    here |= {job for run in data.runs for job in run.jobs}
    parts = [
        _("{job} owes {owes}").format(
            job=job.job, owes=count(job.shortage, "{n} part", "{n} parts")
        )
        for job in late
        if job.job in here
    ]
    if parts:
        yield _("Late: {jobs}.").format(jobs=", ".join(parts[:MOST]))


def _wrong(notes: Sequence[Note], row: TableToday, inch: bool) -> Iterator[str]:
    own = [to_reader(note.body, inch=inch) for note in notes if note.table == row.code]
    for body in own[:MOST]:
        yield _("Look at: {note}").format(note=body)
