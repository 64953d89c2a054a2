"""The measures of a table opened: a ratio to its elements, an element to the runs, stops, shifts
and parts it is made of. A key is "2026-11-01:2026-11-28:TABLE:WHAT", TABLE an id, WHAT the name of
a measure or of an element in `planning.reports.measure_list`."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import cached_property, partial
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.dates import DAY, WEEKDAY, dated, day_time
from planning.reports.figure import Figure, Part, Ref, shortened, with_total
from planning.reports.measure_list import ELEMENTS, MEASURES
from planning.reports.measure_sums import HOUR_S, OF_SUMS, Sums, added, sums_by_run
from planning.reports.measure_times import (
    BREAKS,
    CHANGE,
    DELAY,
    PLANNED,
    US_HOUR,
    Base,
    Shift,
    Stretch,
    planned_busy,
    stopped,
)
from planning.reports.measures import TableMeasures, measure_bases, table_measures
from planning.reports.run_names import run_names
from shopfloor.models import Table
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop
from shopfloor.wording.quantity import Quantity, Remark, Unit

EFFECTIVENESS = "effectiveness"  # the measure that lists runs


@dataclass(frozen=True)
class Runs:
    """The runs a measure is of, read only where it lists them."""

    first: date
    last: date
    table_id: int

    @cached_property
    def sums(self) -> dict[uuid.UUID, Sums]:
        return sums_by_run(self.first, self.last, self.table_id)

    def of_table(self) -> dict[int, Sums]:
        """What the runs come to: they are read once, and sum to the figure they are parts of."""
        return {self.table_id: added(self.sums.values())}


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
    runs, ref = Runs(*days, found.pk), Ref("measure", key)
    listed = what in OF_SUMS or what == EFFECTIVENESS
    sums = runs.of_table() if listed else None
    base = measure_bases(*days, timezone.now(), [found], sums)[found.pk]
    known = table_measures(base)
    total, own = _quantity(known, what), MEASURES.get(what) or ELEMENTS[what]
    if what in MEASURES:
        ended = (*_of_ratio(known, runs, ref), Part(_("Ratio"), total, total=True))
    else:
        ended = with_total(_of_element(base, runs, what), total)
    label = _("{measure}, {first} to {last}, {table}").format(
        measure=_(own.label), first=dated(days[0], DAY), last=dated(days[1]), table=found.name
    )
    page = Ref("measures", str((days[1] - days[0]).days + 1))
    return Figure(ref, label, total, _(own.how), ended, page=page)


def _quantity(known: TableMeasures, name: str) -> Quantity:
    """A measure or an element."""
    if name in MEASURES:
        return Quantity(getattr(known.ratios, name), Unit.RATIO)
    return Quantity(getattr(known.elements, name), _unit(name))


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
    return [*parts, *_against_plan(runs)] if what == EFFECTIVENESS else parts


def _against_plan(runs: Runs) -> list[Part]:
    own = {run: sums for run, sums in runs.sums.items() if sums.with_plan_s > 0}
    names = run_names(own)
    parts = []
    for run, sums in sorted(own.items(), key=lambda item: names[item[0]]):
        burnt = Remark(N_("planned, burnt {}"), (_hours(sums.with_plan_s / HOUR_S),))
        plan = _hours(sums.planned_s / HOUR_S)
        parts.append(Part(names[run][1], plan, Ref("run", str(run)), (burnt,)))
    return shortened(parts)


def _of_element(base: Base, runs: Runs, what: str) -> list[Part]:
    if what in TIMES:
        zone = ZoneInfo(the_shop().zone)
        return [_part(stretch, zone) for stretch in TIMES[what](base)]
    amounts = {run: OF_SUMS[what](sums) for run, sums in runs.sums.items()}
    time = ELEMENTS[what].unit == "h"
    return _by_run({run: amount for run, amount in amounts.items() if time or amount}, what)


# The elements that are sums of time, and of what.
TIMES: dict[str, Callable[[Base], list[Stretch]]] = {
    "pbt": planned_busy,
    "adet": partial(stopped, sort=DELAY),
    "aust": partial(stopped, sort=CHANGE),
}
SORTS = {BREAKS: N_("breaks"), PLANNED: N_("planned stops")}


def _by_run(amounts: dict[uuid.UUID, float], what: str) -> list[Part]:
    names, unit = run_names(amounts), _unit(what)
    return [
        Part(names[run][1], Quantity(amounts[run], unit), Ref("run", str(run)))
        for run in sorted(amounts, key=lambda run: names[run])
    ]


def _part(stretch: Stretch, zone: ZoneInfo) -> Part:
    of, time = stretch.of, _hours(stretch.us / US_HOUR)
    if isinstance(of, str):
        return Part(_(SORTS[of]), time)
    if isinstance(of, Shift):
        return Part(f"{dated(of.day, WEEKDAY)}, {of.name}", time)
    begun = day_time(from_us(of.span[0]).astimezone(zone), DAY)
    return Part(f"{begun}, {of.label}", time, Ref("run", str(of.run_id)) if of.run_id else None)


def _unit(what: str) -> Unit:
    return Unit.HOURS if ELEMENTS[what].unit == "h" else Unit.COUNT


def _hours(hours: float) -> Quantity:
    return Quantity(hours, Unit.HOURS)
