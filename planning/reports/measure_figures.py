"""The measures of a table opened: a ratio to its elements, an element to the runs, stops, shifts
and parts it is made of. A key is "2026-11-01:2026-11-28:TABLE:WHAT", TABLE an id, WHAT the name of
a measure or of an element in `planning.reports.measure_list`."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.spans import Span, intersect, length, subtract, union
from planning.reports.figure import Figure, Part, Ref, shortened, with_total
from planning.reports.measure_list import ELEMENTS, MEASURES
from planning.reports.measure_sums import Parts, RunTime, parts_by_run, times_by_run
from planning.reports.measures import (
    CHANGE,
    Base,
    TableMeasures,
    measure_bases,
    table_measures,
)
from planning.reports.run_names import run_names
from shopfloor.models import Table
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop
from shopfloor.wording.quantity import Quantity, Remark, Unit

US_HOUR = 3_600_000_000


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


def opened(key: str) -> Figure:
    first, last, table, what = key.split(":")
    if what not in ELEMENTS and what not in MEASURES:
        raise LookupError(_("there is no measure {what!r}").format(what=what))
    found = Table.objects.filter(pk=int(table)).first()
    if found is None:
        raise LookupError(_("there is no table {table!r}").format(table=table))
    days = date.fromisoformat(first), date.fromisoformat(last)
    if not 0 <= (days[1] - days[0]).days <= 366:
        raise LookupError(
            _("{first} to {last} is not between 1 and 367 days").format(first=first, last=last)
        )
    base = measure_bases(*days, timezone.now(), [found])[found.pk]
    runs, ref = Runs(*days, found.pk), Ref("measure", key)
    known = table_measures(base)
    total, own = _quantity(known, what), MEASURES.get(what) or ELEMENTS[what]
    if what in MEASURES:
        ended = (*_of_ratio(known, runs, ref), Part(_("Ratio"), total, total=True))
    else:
        ended = with_total(_of_element(base, runs, what), total)
    label = _("{measure}, {first:%d %b} to {last:%d %b %Y}, {table}").format(
        measure=_(own.label), first=days[0], last=days[1], table=found.name
    )
    page = Ref("measures", str((days[1] - days[0]).days + 1))
    return Figure(ref, label, total, _(own.how), ended, page=page)


def _quantity(known: TableMeasures, name: str) -> Quantity:
    """A measure or an element."""
    if name in MEASURES:
        return Quantity(getattr(known.ratios, name), Unit.RATIO)
    unit = Unit.HOURS if ELEMENTS[name].unit == "h" else Unit.COUNT
    return Quantity(getattr(known.elements, name), unit)


def _of_ratio(known: TableMeasures, runs: Runs, ref: Ref) -> list[Part]:
    stem, _sep, what = ref.key.rpartition(":")
    parts = [
        Part(
            _((MEASURES.get(name) or ELEMENTS[name]).label).capitalize(),
            _quantity(known, name),
            Ref("measure", f"{stem}:{name}"),
        )
        for name in MEASURES[what].parts
    ]
    return [*parts, *_against_plan(runs)] if what == "effectiveness" else parts


def _against_plan(runs: Runs) -> list[Part]:
    own = {run: time for run, time in runs.times().items() if time.against_plan}
    names = run_names(own)
    parts = []
    for run, time in sorted(own.items(), key=lambda item: names[item[0]]):
        burnt = Remark("planned, burnt {}", (_hours(time.burnt_s / 3600),))
        plan = _hours((time.planned_s or 0.0) / 3600)
        parts.append(Part(names[run][1], plan, Ref("run", str(run)), (burnt,)))
    return shortened(parts)


def _of_element(base: Base, runs: Runs, what: str) -> list[Part]:
    if what == "pbt":
        return _planned_busy(base)
    if what in ("adet", "aust"):
        return _stopped(base, "delay" if what == "adet" else CHANGE)
    if what in ("apt", "aubt"):
        name = "burnt_s" if what == "apt" else "elapsed_s"
        times = runs.times().items()
        return _by_run({run: _hours(getattr(time, name) / 3600) for run, time in times})
    counts = {run: _count(parts, what) for run, parts in runs.parts().items()}
    return _by_run({run: Quantity(count, Unit.COUNT) for run, count in counts.items() if count})


def _count(parts: Parts, what: str) -> int:
    every = parts.good + parts.scrap + parts.rework
    return {"gq": parts.good, "sq": parts.scrap, "rq": parts.rework, "pq": every,
            "gp": parts.passed, "ip": parts.checked}[what]  # fmt: skip


def _by_run(amounts: dict[uuid.UUID, Quantity]) -> list[Part]:
    names = run_names(amounts)
    return [
        Part(names[run][1], amounts[run], Ref("run", str(run)))
        for run in sorted(amounts, key=lambda run: names[run])
    ]


def _planned_busy(base: Base) -> list[Part]:
    parts: list[Part] = []
    covered: list[Span] = []
    for day, name, span in base.shifts:
        fresh = subtract([span], covered)
        covered = union([*covered, span])
        parts.append(_part(f"{day:%a %d %b}, {name}", fresh))
    breaks = intersect(union(base.breaks), covered)
    if breaks:
        parts.append(_part("breaks", breaks, -1))
    stopped = intersect(union(base.stopped("planned")), base.worked)
    if stopped:
        parts.append(_part(_("planned stops"), stopped, -1))
    return parts


def _stopped(base: Base, sort: str) -> list[Part]:
    zone = ZoneInfo(the_shop().zone)
    parts: list[Part] = []
    covered: list[Span] = []
    for stop in base.stops:
        fresh = subtract(intersect([stop.span], base.worked), covered)
        if stop.sort == sort and fresh:
            covered = union([*covered, *fresh])
            begun = f"{from_us(stop.span[0]).astimezone(zone):%d %b %H:%M}"
            run = str(stop.run_id) if stop.run_id else ""
            parts.append(_part(f"{begun}, {stop.label}", fresh, run=run))
    return parts


def _part(label: str, spans: Iterable[Span], sign: int = 1, run: str = "") -> Part:
    value = _hours(sign * length(list(spans)) / US_HOUR)
    return Part(label, value, Ref("run", run) if run else None)


def _hours(hours: float) -> Quantity:
    return Quantity(hours, Unit.HOURS)
