"""The measures of a table opened: a ratio to its elements, an element to the runs, stops, shifts
and parts it is made of. A key is "2026-11-01:2026-11-28:TABLE:WHAT", TABLE an id, WHAT the name of
a measure or of an element in `planning.reports.measure_list`."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from django.utils import timezone

from planning.calc.spans import Span, intersect, length, subtract, union
from planning.reports.measure_list import ELEMENTS, MEASURES
from planning.reports.measure_sums import Parts, RunTime, parts_by_run, times_by_run
from planning.reports.measures import (
    CHANGE,
    Base,
    TableMeasures,
    measure_bases,
    table_measures,
)
from planning.reports.shapes import Figure, OpenedRow
from planning.reports.trace_month import run_names
from planning.reports.trace_rows import cut_short
from shopfloor.models import Table
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop

US_HOUR = 3_600_000_000
Rows = list[tuple[OpenedRow, float]]


@dataclass(frozen=True, slots=True)
class Runs:
    """The runs a measure is of, read only where it lists them."""

    first: date
    last: date
    table_id: int

    def times(self) -> dict[uuid.UUID, RunTime]:
        return times_by_run(self.first, self.last, self.table_id)

    def parts(self) -> dict[uuid.UUID, Parts]:
        return parts_by_run(self.first, self.last, self.table_id)


def measure(id: str) -> Figure:
    first, last, table, what = id.split(":")
    if what not in ELEMENTS and what not in MEASURES:
        raise LookupError(f"there is no measure {what!r}")
    found = Table.objects.filter(pk=int(table)).first()
    if found is None:
        raise LookupError(f"there is no table {table!r}")
    days = date.fromisoformat(first), date.fromisoformat(last)
    if not 0 <= (days[1] - days[0]).days <= 366:
        raise LookupError(f"{first} to {last} is not between 1 and 367 days")
    base = measure_bases(*days, timezone.now(), [found])[found.pk]
    runs = Runs(*days, found.pk)
    when = f"{days[0]:%d %b} to {days[1]:%d %b %Y}, {found.name}"
    if what in MEASURES:
        return _ratio(base, runs, what, when, id)
    element = ELEMENTS[what]
    rows = _element(base, runs, what)
    say = _hours if element.unit == "h" else _number
    total = getattr(table_measures(base).elements, what)
    shown = [*cut_short(rows, say), OpenedRow("Total", say(total), total=True)]
    return Figure(f"{element.label}, {when}", say(total), "", element.how, tuple(shown), None)


def _ratio(base: Base, runs: Runs, what: str, when: str, id: str) -> Figure:
    known, own = table_measures(base), MEASURES[what]
    stem = id.rpartition(":")[0]
    value = _share(getattr(known.ratios, what))
    rows = []
    for name in own.parts:
        label, said = _part(known, name)
        rows.append(OpenedRow(label.capitalize(), said, "", "", "measure", f"{stem}:{name}"))
    if what == "effectiveness":
        rows += _against_plan(runs)
    rows.append(OpenedRow("Ratio", value, total=True))
    return Figure(f"{own.label}, {when}", value, "", own.how, tuple(rows), None)


def _part(known: TableMeasures, name: str) -> tuple[str, str]:
    """Label and value of one figure beneath a ratio."""
    if name in MEASURES:
        return MEASURES[name].label, _share(getattr(known.ratios, name))
    say = _hours if ELEMENTS[name].unit == "h" else _number
    return ELEMENTS[name].label, say(getattr(known.elements, name))


def _against_plan(runs: Runs) -> list[OpenedRow]:
    own = {run: time for run, time in runs.times().items() if time.against_plan}
    names = run_names(own)
    rows = []
    for run, time in sorted(own.items(), key=lambda item: names[item[0]]):
        plan_h = (time.planned_s or 0.0) / 3600
        said = f"{_hours(plan_h)} planned", "", f"burnt {_hours(time.burnt_s / 3600)}"
        rows.append((OpenedRow(names[run][1], *said, "run", str(run)), plan_h))
    return cut_short(rows, lambda hours: f"{_hours(hours)} planned")


def _element(base: Base, runs: Runs, what: str) -> Rows:
    if what == "pbt":
        return _planned_busy(base)
    if what in ("adet", "aust"):
        return _stopped(base, "delay" if what == "adet" else CHANGE)
    if what in ("apt", "aubt"):
        name = "burnt_s" if what == "apt" else "elapsed_s"
        return _by_run(
            {run: getattr(time, name) / 3600 for run, time in runs.times().items()}, _hours
        )
    counts = {run: _count(parts, what) for run, parts in runs.parts().items()}
    return _by_run({run: float(count) for run, count in counts.items() if count}, _number)


def _count(parts: Parts, what: str) -> int:
    every = parts.good + parts.scrap + parts.rework
    return {"gq": parts.good, "sq": parts.scrap, "rq": parts.rework, "pq": every,
            "gp": parts.passed, "ip": parts.checked}[what]  # fmt: skip


def _by_run(amounts: dict[uuid.UUID, float], say: Callable[[float], str]) -> Rows:
    names = run_names(amounts)
    return [
        (OpenedRow(names[run][1], say(amount), "", "", "run", str(run)), amount)
        for run, amount in sorted(amounts.items(), key=lambda item: names[item[0]])
    ]


def _planned_busy(base: Base) -> Rows:
    rows: Rows = []
    covered: list[Span] = []
    for day, name, span in base.shifts:
        fresh = subtract([span], covered)
        covered = union([*covered, span])
        rows.append(_row(f"{day:%a %d %b}, {name}", fresh))
    breaks = intersect(union(base.breaks), covered)
    if breaks:
        rows.append(_row("breaks", breaks, -1))
    stopped = intersect(union(base.stopped("planned")), base.worked)
    if stopped:
        rows.append(_row("planned stops", stopped, -1))
    return rows


def _stopped(base: Base, sort: str) -> Rows:
    zone = ZoneInfo(the_shop().zone)
    rows: Rows = []
    covered: list[Span] = []
    for stop in base.stops:
        fresh = subtract(intersect([stop.span], base.worked), covered)
        if stop.sort == sort and fresh:
            covered = union([*covered, *fresh])
            begun = f"{from_us(stop.span[0]).astimezone(zone):%d %b %H:%M}"
            run = str(stop.run_id) if stop.run_id else ""
            rows.append(_row(f"{begun}, {stop.label}", fresh, run=run))
    return rows


def _row(
    label: str, spans: Iterable[Span], sign: int = 1, run: str = ""
) -> tuple[OpenedRow, float]:
    hours = sign * length(list(spans)) / US_HOUR
    return OpenedRow(label, _hours(hours), "", "", "run" if run else "", run), hours


def _hours(hours: float | None) -> str:
    return "unknown" if hours is None else f"{hours:,.2f} h".replace("-", "−")


def _number(amount: float | None) -> str:
    return "unknown" if amount is None else f"{amount:,.0f}"


def _share(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.3f}"
