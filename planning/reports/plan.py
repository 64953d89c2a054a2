"""A nest's plan opened: what its time and its cost were made from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _

from planning.calc.said import said
from planning.reports.figure import Figure, Part, Ref
from planning.reports.ledger import kind_label
from shopfloor.models import NestPlan
from shopfloor.nests.warnings import refusal_of
from shopfloor.wording.counts import count
from shopfloor.wording.quantity import money, seconds, text

RULE = said("the program's own path, timed with the table's motion and the chart")


def opened(key: str) -> Figure:
    found = (
        NestPlan.objects.filter(pk=int(key))
        .select_related("revision__nest", "table", "wear_set")
        .defer("revision__program", "arcs_s")
        .first()
    )
    if found is None:
        raise LookupError(_("there is no plan {key}").format(key=key))
    ref = Ref("plan", key)
    label = _("{nest} on {table}, {wear_set}").format(
        nest=found.revision.nest.name, table=found.table, wear_set=found.wear_set
    )
    if found.total_s is None:
        why = refusal_of(found)
        return Figure(ref, label, seconds(None, "unknown"), why, (), found.computed_at)
    total = seconds((found.total_s or 0.0) + (found.load_s or 0.0), "planned")
    parts = (
        *_times(found), Part(_("Total time"), total, total=True), *_rows(found), *_costs(found)
    )  # fmt: skip
    return Figure(ref, label, total, RULE, parts, found.computed_at)


def _times(plan: NestPlan) -> Iterator[Part]:
    chart = plan.snapshot.get("chart", {})
    rapid = plan.snapshot.get("motion", {}).get("rapid_mm_min")
    yield _time(_("Cutting"), plan.cut_s, _speed(chart.get("speed_mm_min")))
    yield _time(_("Piercing"), plan.pierce_s, count(plan.pierces or 0, "{n} pierce", "{n} pierces"))
    yield _time(_("Travel"), plan.travel_s, _speed(rapid))
    yield _time("Touch-off", plan.touch_off_s)
    yield _time(_("Load and unload"), plan.load_s, _("a setting of the table"))


def _time(label: str, value: float | None, *notes: str) -> Part:
    return Part(label, seconds(value, "planned"), notes=notes)


def _speed(mm_min: Any) -> str:
    return _("speed unknown") if mm_min is None else said("{0:/min,.0f}", float(mm_min))


def _rows(plan: NestPlan) -> Iterator[Part]:
    for row in plan.snapshot.get("chart_rows", ()):
        example = (_("example values, not for cutting"),) if row.get("example") else ()
        value = said(
            "{speed}, from {day}", speed=_speed(row["speed_mm_min"]), day=row["valid_from"][:10]
        )
        yield Part(
            _("Chart row {thickness}").format(thickness=row["thickness"]),
            text(value, "entered"),
            notes=example,
        )


def _costs(plan: NestPlan) -> Iterator[Part]:
    for kind, minor in plan.costs_minor.items():
        yield Part(_("Cost: {kind}").format(kind=kind_label(kind)), money(minor, "planned"))
    if plan.costs_minor:
        whole = money(sum(plan.costs_minor.values()), "planned")
        yield Part(_("Cost without material"), whole, total=True)
