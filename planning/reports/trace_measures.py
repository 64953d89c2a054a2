"""The measures of a table opened: a ratio to its elements, an element to the runs, stops, shifts
and parts it is made of. A key is "2026-11-01:2026-11-28:TABLE:WHAT", TABLE an id, WHAT the name of
a measure or of an element in `planning.reports.measure_list`."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import date
from zoneinfo import ZoneInfo

from django.utils import timezone

from planning.calc.spans import Span, intersect, length, subtract, union
from planning.reports.measure_list import ELEMENTS, MEASURES
from planning.reports.measures import (
    CHANGE,
    Base,
    TableMeasures,
    measure_bases,
    plan_by_run,
    table_measures,
)
from planning.reports.shapes import Figure, OpenedRow
from planning.reports.trace_month import run_names
from planning.reports.trace_rows import cut_short
from shopfloor.models import Table
from shopfloor.selectors.arcs import from_us
from shopfloor.selectors.shop import the_shop

US_HOUR = 3_600_000_000
Rows = list[tuple[OpenedRow, float]]


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
    when = f"{days[0]:%d %b} to {days[1]:%d %b %Y}, {found.name}"
    if what in MEASURES:
        return _ratio(base, what, when, id)
    element = ELEMENTS[what]
    rows = _element(base, what)
    say = _hours if element.unit == "h" else _number
    total = getattr(table_measures(base).elements, what)
    shown = [*cut_short(rows, say), OpenedRow("Total", say(total), total=True)]
    return Figure(f"{element.label}, {when}", say(total), "", element.how, tuple(shown), None)


def _ratio(base: Base, what: str, when: str, id: str) -> Figure:
    known, own = table_measures(base), MEASURES[what]
    stem = id.rpartition(":")[0]
    value = _share(getattr(known.ratios, what))
    rows = []
    for name in own.parts:
        label, said = _part(known, name)
        rows.append(OpenedRow(label.capitalize(), said, "", "", "measure", f"{stem}:{name}"))
    if what == "effectiveness":
        rows += _against_plan(base)
    rows.append(OpenedRow("Ratio", value, total=True))
    return Figure(f"{own.label}, {when}", value, "", own.how, tuple(rows), None)


def _part(known: TableMeasures, name: str) -> tuple[str, str]:
    """Label and value of one figure beneath a ratio."""
    if name in MEASURES:
        return MEASURES[name].label, _share(getattr(known.ratios, name))
    say = _hours if ELEMENTS[name].unit == "h" else _number
    return ELEMENTS[name].label, say(getattr(known.elements, name))


def _against_plan(base: Base) -> list[OpenedRow]:
    runs = plan_by_run(base.days)
    names = run_names(runs)
    rows = []
    for run, (plan, burnt) in sorted(runs.items(), key=lambda item: names[item[0]]):
        said = f"{_hours(plan / 3600)} planned", "", f"burnt {_hours(burnt / 3600)}"
        rows.append((OpenedRow(names[run][1], *said, "run", str(run)), plan / 3600))
    return cut_short(rows, lambda hours: f"{_hours(hours)} planned")


def _element(base: Base, what: str) -> Rows:
    if what == "pbt":
        return _planned_busy(base)
    if what in ("adet", "aust"):
        return _stopped(base, "delay" if what == "adet" else CHANGE)
    if what in ("apt", "aubt"):
        return _runs(base, {"apt": lambda day: day.arc_s, "aubt": lambda day: day.elapsed_s}[what])
    return _counted(base, what)


def _runs(base: Base, of: Callable[..., float]) -> Rows:
    hours: dict[uuid.UUID, float] = defaultdict(float)
    for day in base.days:
        hours[day.run_id] += of(day) / 3600
    return _by_run(hours, _hours)


def _counted(base: Base, what: str) -> Rows:
    def of(run: uuid.UUID) -> int:
        own = base.parts.get(run)
        if own is None:
            return 0
        every = own.good + own.scrap + own.rework
        return {"gq": own.good, "sq": own.scrap, "rq": own.rework, "pq": every,
                "gp": own.passed, "ip": own.checked}[what]  # fmt: skip

    counts = {run: float(of(run)) for run in {day.run_id for day in base.days}}
    return _by_run({run: n for run, n in counts.items() if n}, _number)


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
