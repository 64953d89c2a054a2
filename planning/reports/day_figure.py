"""A day of the balance opened: the runs, loose arcs and waiting nests its minutes are of. A key is
"2026-11-24:WHAT" or "2026-11-24:WHAT:TABLE" (by name); WHAT: a duty, unknown, unassigned or
planned."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.balance import UNASSIGNED
from planning.calc.said import said
from planning.inputs.chunks import chunked
from planning.inputs.entered import entered_days
from planning.inputs.shifts import ShiftBook
from planning.reports.balance import queued_by_day
from planning.reports.figure import Figure, Part, Ref, whole, with_total
from planning.reports.run_names import run_names
from shopfloor.chart.duties import CODES, DUTIES, UNKNOWN, known
from shopfloor.models import ArcAssignment, RunDay, Table
from shopfloor.runs.arcs import from_us, master_arcs, to_us
from shopfloor.wording.quantity import seconds

S = 1_000_000
RULES = {
    **{
        duty.code: said(
            "arc time of the runs burnt with a {duty} set, by shift date", duty=duty.code
        )
        for duty in DUTIES
    },
    UNKNOWN: said("arc time of the runs burnt with a set of unknown duty, by shift date"),
    "unassigned": said("arcs that belong to no run; the page counts them by quarters of an hour"),
    "planned": said("planned arc time of the runs burnt that day, and from today on of what waits"),
}


def opened(key: str) -> Figure:
    at, what, *of = key.split(":", 2)
    shift_date, rule = date.fromisoformat(at), RULES.get(what)
    tables = list(Table.objects.filter(name=of[0]) if of else Table.objects.all())
    if rule is None or not tables:
        raise LookupError(_("nothing of {key!r} was burnt").format(key=key))
    loose = what == "unassigned"
    parts = _loose(tables, shift_date) if loose else _runs(tables, shift_date, what)
    parts += _waiting(tables, shift_date) if what == "planned" else []
    parts += _entered(tables, shift_date, what) if what != "planned" else []
    total = whole(parts, seconds(0))
    where = f", {tables[0].name}" if of else ""
    name = {"unassigned": _("in no run"), UNKNOWN: _("unknown duty")}.get(what, what)
    label = f"{name}, {shift_date:%a %d %b %Y}{where}"
    return Figure(Ref("day", key), label, total, rule, with_total(parts, total))


def _runs(tables: Iterable[Table], shift_date: date, what: str) -> list[Part]:
    found = RunDay.objects.filter(shift_date=shift_date, table__in=tables)
    if what == UNKNOWN:
        found = found.exclude(wear_set__duty__in=CODES)
    elif what != "planned":
        found = found.filter(wear_set__duty=what)
    days = list(found.select_related("wear_set"))
    names = run_names({row.run_id for row in days})
    parts = []
    for row in sorted(days, key=lambda row: (names[row.run_id], row.pk)):
        value = seconds(row.arc_s, row.evidence)
        if what == "planned":
            value = seconds(row.planned_arc_s, "planned")
        ref = Ref("run", str(row.run_id))
        parts.append(Part(names[row.run_id][1], value, ref, (str(row.wear_set),)))
    return parts


def _entered(tables: list[Table], shift_date: date, what: str) -> list[Part]:
    """What was entered as burnt while the source was silent."""
    noon = datetime.combine(shift_date, time(12), tzinfo=UTC)
    shifts = ShiftBook(noon - timedelta(days=2), noon + timedelta(days=2))
    found = entered_days(shift_date, shift_date, shifts, tables)
    parts = []
    for one in found:
        kind = one.duty if one.duty == UNASSIGNED else known(one.duty)
        if kind == what:
            when = _("{zone:%H:%M}, entered by a person").format(
                zone=one.started_at.astimezone(shifts.zone)
            )
            parts.append(Part(when, seconds(one.seconds, "entered")))
    return parts


def _waiting(tables: Iterable[Table], shift_date: date) -> list[Part]:
    now = timezone.now()
    shifts = ShiftBook(now, now + timedelta(days=8))
    ids = {table.pk for table in tables}
    return [
        Part(
            _("{nest}, waits").format(nest=item.nest),
            seconds(arc_s, "planned"),
            notes=(item.wear_set,),
        )
        for begun, item, arc_s in queued_by_day(shifts)
        if begun == shift_date and item.table_id in ids
    ]


def _loose(tables: Iterable[Table], shift_date: date) -> list[Part]:
    """Arcs of a shift date that nobody has tied to a run, table by table."""
    noon = datetime.combine(shift_date, time(12), tzinfo=UTC)
    near = timedelta(days=2)
    shifts = ShiftBook(noon - near, noon + near)
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
                when = _("{zone:%H:%M:%S} on {table}").format(
                    zone=from_us(on_us).astimezone(shifts.zone), table=table.name
                )
                spans = shifts.by_date((on_us, off_us))
                burnt_s = sum(us for day, us in spans if day == shift_date) / S
                parts.append(Part(when, seconds(burnt_s, "measured"), Ref("arc", key)))
    return parts
