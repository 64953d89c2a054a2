"""Measures of ISO 22400-2 by table, as lines with what they rest on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from django.utils.translation import gettext as _

from planning.calc.indicators import Elements, Indicators, indicators
from planning.calc.spans import Span
from planning.inputs.microseconds import Microseconds
from planning.inputs.shifts import ShiftBook
from planning.reports.measure_sums import HOUR_S, OF_SUMS, Sums, sums_by_table
from planning.reports.measure_times import (
    CHANGE,
    DELAY,
    Base,
    Shift,
    Stop,
    hours,
    planned_busy,
    sort_of,
    stopped,
)
from shopfloor.models import Stoppage, Table
from shopfloor.runs.arcs import to_us


@dataclass(frozen=True, slots=True)
class TableMeasures:
    """One table's elements (hours and pieces) and ratios. Of the `busy_h` of its runs
    `measured_h` are measured and `unknown_h` unknown, the rest entered; `planned_share` of
    the burning had a plan (None: nothing burnt): `with_plan_h`, planned as `planned_h`."""

    table_id: int
    table: str
    elements: Elements
    ratios: Indicators
    busy_h: float
    measured_h: float
    unknown_h: float
    planned_share: float | None
    planned_h: float
    with_plan_h: float


@dataclass(frozen=True, slots=True)
class Measures:
    first: date
    last: date
    tables: tuple[TableMeasures, ...]


def measures(*, first: date, last: date, now: datetime) -> Measures:
    """Shift dates from `first` to `last`, as far as they are over by `now`, by table in use. Runs
    count for the dates they burnt on, parts and checks for their runs. Eight queries or a few
    more. Raises `ValueError` for dates the wrong way round."""
    if last < first:
        raise ValueError(f"{first} is after {last}")
    tables = list(Table.objects.filter(active=True))
    bases = measure_bases(first, last, now, tables)
    return Measures(first, last, tuple(table_measures(bases[table.pk]) for table in tables))


def measure_bases(
    first: date,
    last: date,
    now: datetime,
    tables: Iterable[Table],
    sums: Mapping[int, Sums] | None = None,
) -> dict[int, Base]:
    """By table id. `sums` where the caller has them already."""
    tables = list(tables)
    ids = [table.pk for table in tables]
    sums = sums_by_table(first, last, ids) if sums is None else sums
    shifts = ShiftBook(_midnight(first), _midnight(last + timedelta(days=1)))
    stops = _stops(first, last, to_us(now), ids)
    return {
        table.pk: Base(
            table,
            sums.get(table.pk, Sums()),
            *_shifts(shifts, first, last, to_us(now), table.code),
            _with_downs(stops[table.pk], shifts, table.code, to_us(now)),
        )
        for table in tables
    }


def table_measures(base: Base) -> TableMeasures:
    """Ratios, and the elements they are made of."""
    sums = base.sums
    of = {name: amount(sums) for name, amount in OF_SUMS.items()}
    arc_h, busy_h = of["apt"], of["aubt"]
    per_arc = sums.planned_s / sums.with_plan_s if sums.with_plan_s else None
    change_h = hours(stopped(base, CHANGE))
    produced, checked = of["pq"], of["ip"]
    known = bool(sums.rows)
    elements = Elements(
        apt=arc_h if known else None,
        aust=change_h,
        aupt=arc_h + change_h if known else None,
        aubt=busy_h if known else None,
        adet=hours(stopped(base, DELAY)),
        pbt=hours(planned_busy(base)) or None,
        pri=per_arc * arc_h / produced if per_arc is not None and produced else None,
        pq=produced or None,
        gq=of["gq"] if produced else None,
        sq=of["sq"] if produced else None,
        rq=of["rq"] if produced else None,
        gp=of["gp"] if checked else None,
        ip=checked or None,
    )
    share = sums.with_plan_s / HOUR_S / arc_h if arc_h else None
    return TableMeasures(
        base.table.pk,
        base.table.name,
        elements,
        indicators(elements),
        busy_h,
        sums.measured_s / HOUR_S,
        sums.unknown_s / HOUR_S,
        share,
        sums.planned_s / HOUR_S,
        sums.with_plan_s / HOUR_S,
    )


def _shifts(
    book: ShiftBook, first: date, last: date, now_us: int, table: str
) -> tuple[list[Shift], list[Span]]:
    """The shifts of these dates so far that somebody was scheduled for at a table, and breaks. Of a
    day for which the shop has set none, nobody knows what was to be used, whatever was added."""
    shifts: list[Shift] = []
    breaks: list[Span] = []
    for shift in book.spans:
        if shift.date in book.unset:
            continue
        if first <= shift.date <= last and shift.at_table(table):
            span = to_us(shift.start), min(now_us, to_us(shift.end))
            if span[1] > span[0]:
                shifts.append(Shift(shift.date, shift.name, span))
            breaks += [(to_us(start), to_us(end)) for start, end, _ in shift.breaks]
    return shifts, breaks


def _stops(first: date, last: date, now_us: int, tables: Sequence[int]) -> dict[int, list[Stop]]:
    day = timedelta(days=1)
    found: dict[int, list[Stop]] = defaultdict(list)
    rows = Stoppage.objects.filter(
        table__in=tables,
        started_at__gte=_midnight(first) - day,
        started_at__lt=_midnight(last) + 2 * day,
    ).order_by("started_at", "pk")
    moments = Microseconds("started_at"), Microseconds("ended_at")
    said = "reason__kind", "reason__planned", "reason__label", "run_id"
    for table, started_us, ended_us, kind, planned, label, run in rows.values_list(
        "table_id", *moments, *said
    ):
        span = (started_us, now_us if ended_us is None else ended_us)
        if span[1] > span[0]:
            sort = sort_of(planned=planned, kind=kind)
            found[table].append(Stop(span, sort, label or _("no reason given yet"), run))
    return found


def _with_downs(stops: list[Stop], book: ShiftBook, table: str, now_us: int) -> list[Stop]:
    """Time the table was down so far counts as a stop that its operator names."""
    found = list(stops)
    for down in book.downs:
        span = to_us(down.start), min(to_us(down.end), now_us)
        if down.table == table and span[1] > span[0]:
            sort = sort_of(planned=down.planned)
            found.append(Stop(span, sort, down.why or _("table down"), None))
    return sorted(found, key=lambda stop: stop.span[0])


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(0), tzinfo=UTC)
