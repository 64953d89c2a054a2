"""A day of the balance opened: the runs, loose arcs and waiting nests its minutes are of. A key is
"2026-11-24:WHAT" or "2026-11-24:WHAT:TABLE" (by name); WHAT: a duty, unknown, unassigned or
planned."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.balance import UNASSIGNED
from planning.calc.dates import WEEKDAY_YEAR, dated, timed, timed_s
from planning.calc.said import said
from planning.inputs.chunks import chunked
from planning.inputs.shifts import ShiftBook
from planning.reports.balance import Days, RunRow, days_between
from planning.reports.figure import Figure, Part, Ref, whole, with_total
from planning.reports.run_names import run_names
from shopfloor.chart.duties import DUTIES, UNKNOWN, known
from shopfloor.models import ArcAssignment, Table, WearSet
from shopfloor.runs.arcs import from_us, master_arcs, to_us
from shopfloor.wording.quantity import Quantity, seconds

S = 1_000_000
AHEAD = timedelta(days=8)  # so far the list of what waits is laid out
ROUNDING_S = 0.5  # as the balance has it
RULES = {
    **{
        duty.code: said(
            "arc time of the runs burnt with a {duty} set, by shift date", duty=duty.code
        )
        for duty in DUTIES
    },
    UNKNOWN: said("arc time of the runs burnt with a set of unknown duty, by shift date"),
    UNASSIGNED: said("all arc time by quarters of an hour, less what the runs burnt"),
    "planned": said("planned arc time of the runs burnt that day, and from today on of what waits"),
}


def opened(key: str) -> Figure:
    at, what, *of = key.split(":", 2)
    shift_date, rule = date.fromisoformat(at), RULES.get(what)
    tables = {row.pk: row for row in Table.objects.all() if row.name in (of or [row.name])}
    if rule is None or not tables:
        raise LookupError(_("nothing of {key!r} was burnt").format(key=key))
    shifts = _shifts(shift_date)
    days = days_between(shift_date, shift_date, shifts, tables, each=True)
    planned = what == "planned"
    parts = _runs([row for row in days.rows if row.table_id in tables], what)
    parts += _waiting(days, tables) if planned else _entered(days, shifts, what)
    value = seconds(
        sum(
            part.planned_s if planned else part.burnt_s
            for part in days.parts
            if part.table in tables and (planned or _sort(part.duty) == what)
        )
    )
    if what == UNASSIGNED:
        parts = [*_loose(tables.values(), shift_date, shifts), *parts]
        parts += _not_listed(value, parts)
    total = replace(value, evidence=whole(parts, value).evidence)
    where = f", {next(iter(tables.values())).name}" if of else ""
    name = {UNASSIGNED: _("in no run"), UNKNOWN: _("unknown duty")}.get(what, what)
    label = f"{name}, {dated(shift_date, WEEKDAY_YEAR)}{where}"
    return Figure(Ref("day", key), label, total, rule, with_total(parts, total))


def _shifts(shift_date: date) -> ShiftBook:
    """Those about the date; from now on where it is still to come."""
    noon, now = datetime.combine(shift_date, time(12), tzinfo=UTC), timezone.now()
    if noon > now + AHEAD:
        raise LookupError(_("{shift_date} is too far ahead").format(shift_date=shift_date))
    near = timedelta(days=2)
    return ShiftBook(min(noon - near, now) if noon + near > now else noon - near, noon + near)


def _sort(duty: str) -> str:
    return duty if duty == UNASSIGNED else known(duty)


def _runs(rows: Iterable[RunRow], what: str) -> list[Part]:
    own = [row for row in rows if what == "planned" or known(row.duty) == what]
    names = run_names({row.run for row in own})
    sets = WearSet.objects.in_bulk({row.wear_set for row in own})
    parts = []
    for row in sorted(own, key=lambda row: (names[row.run], row.wear_set)):
        value = seconds(row.arc_s, row.evidence)
        if what == "planned":
            value = seconds(row.planned_s, "planned")
        ref = Ref("run", str(row.run))
        parts.append(Part(names[row.run][1], value, ref, (str(sets[row.wear_set]),)))
    return parts


def _entered(days: Days, shifts: ShiftBook, what: str) -> list[Part]:
    """What was entered as burnt while the source was silent."""
    return [
        Part(
            _("{zone}, entered by a person").format(
                zone=timed(one.started_at.astimezone(shifts.zone))
            ),
            seconds(one.seconds, "entered"),
        )
        for one in days.entered
        if _sort(one.duty) == what
    ]


def _waiting(days: Days, tables: Container[int]) -> list[Part]:
    return [
        Part(
            _("{nest}, waits").format(nest=item.nest),
            seconds(arc_s, "planned"),
            notes=(item.wear_set,),
        )
        for _day, item, arc_s in days.queued
        if item.table_id in tables
    ]


def _not_listed(total: Quantity, parts: Sequence[Part]) -> list[Part]:
    """What the quarter hours have beyond the arcs listed: one that still burns, or whose rows are
    gone."""
    rest = total.number - whole(parts, total).number
    words = _("in the sums of quarter hours, beside these arcs")
    return [Part(words, seconds(rest, "measured"))] if abs(rest) > ROUNDING_S else []


def _loose(tables: Iterable[Table], shift_date: date, shifts: ShiftBook) -> list[Part]:
    """Arcs of a shift date that nobody has tied to a run, table by table."""
    noon = datetime.combine(shift_date, time(12), tzinfo=UTC)
    near = timedelta(days=2)
    parts: list[Part] = []
    for table in tables:
        arcs = [
            arc
            for arc in master_arcs(table)
            .filter(on_us__gte=to_us(noon - near), on_us__lt=to_us(noon + near))
            .exclude(off_us=None)
            .values_list("key", "on_us", "off_us")
            if any(day == shift_date for day, _span in shifts.by_date((arc[1], arc[2] or arc[1])))
        ]
        tied = set(
            chunked(
                [arc[0] for arc in arcs],
                lambda some: ArcAssignment.objects.filter(arc_key__in=some)
                .exclude(segment=None)
                .values_list("arc_key", flat=True),
            )
        )  # fmt: skip
        for key, on_us, off_us in arcs:
            if key not in tied and off_us is not None:
                when = _("{zone} on {table}").format(
                    zone=timed_s(from_us(on_us).astimezone(shifts.zone)), table=table.name
                )
                spans = shifts.by_date((on_us, off_us))
                burnt_s = sum(us for day, us in spans if day == shift_date) / S
                parts.append(Part(when, seconds(burnt_s, "measured"), Ref("arc", key)))
    return parts
