"""One run opened: segments, contours, arcs, where the time went, who pays, how it came to be."""

from __future__ import annotations

import logging
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.views.decorators.http import require_safe

from dashboards import data, lengths
from dashboards.access import desk, reader_of
from dashboards.ledgers.cost import KINDS
from dashboards.ledgers.run import strip_of
from dashboards.records import records
from planning.calc.dates import timed_s
from planning.calc.numbers import marked, written
from planning.calc.said import said, to_reader
from planning.reports.shapes import RunDetail
from shopfloor.svg import strip
from shopfloor.svg.parts_map import map_label, parts_map
from shopfloor.svg.strip.words import local

log = logging.getLogger(__name__)
MOST_ARCS = 400
# What of a plan's snapshot is shown to everybody; money only to those who may see it.
PLAN_WORDS = (
    ("wear_set", N_("set"), ""),
    ("cut_mm", N_("cut"), "mm"),
    ("travel_mm", N_("travel"), "mm"),
    ("pierces", N_("pierces"), ""),
    ("cut_s", N_("cutting"), "s"),
    ("pierce_s", N_("piercing"), "s"),
    ("travel_s", N_("travelling"), "s"),
    ("touch_off_s", N_("touch-off"), "s"),
    ("load_s", N_("loading"), "s"),
    ("total_s", N_("in all"), "s"),
    ("bench_min", N_("bench"), "min"),
    ("problem", N_("problem"), ""),
)
MONEY_KEYS = ("rates", "wear")  # of a plan's snapshot
SAID_KEYS = ("problem",)  # of it too: a sentence, which stands there already


@desk()
@require_safe
def run(request: HttpRequest, run_id: UUID) -> HttpResponseBase:
    try:
        detail = data.run_detail(str(run_id))
    except LookupError as missing:
        raise Http404(str(missing)) from missing
    reader = reader_of(request.user)
    context = _tables(detail) | _drawings(detail) | {"run": detail, "reader": reader}
    context["checks"] = data.run_checks(str(run_id))
    context["changes"] = data.run_changes(str(run_id))
    context["plan"] = list(plan_rows(detail.plan, inch=reader.inch))
    context["computed"] = parse_datetime(str(detail.plan.get("computed_at") or ""))
    return render(request, "kerfbook/run/run.html", context)


def _tables(detail: RunDetail) -> dict[str, Any]:
    arcs, zone = records(detail.arcs), data.zone()
    terms = records(detail.terms)
    for row in terms:
        row["url"] = reverse("figure", args=["run_term", f"{detail.run_id}:{row['term']}"])
    return {
        "segments": records(detail.segments),
        "stoppages": records(detail.stoppages),
        "contours": records(detail.contours),
        "arcs": [_arc(row, zone) for row in arcs[:MOST_ARCS]],
        "arcs_all": len(arcs),
        "terms": terms,
        "over_s": None
        if detail.planned_s is None or detail.elapsed_s is None
        else detail.elapsed_s - detail.planned_s,
        "lines": [
            row | {"kind_label": _(KINDS.get(row["kind"], row["kind"]))}
            for row in records(detail.lines)
        ],
        "pieces": records(detail.pieces),
    }


def _arc(row: dict[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    begun = strip_clock(int(row["on_us"]), zone)
    return row | {"begun": begun, "url": reverse("figure", args=["arc", row["arc_key"]])}


def strip_clock(at_us: int, zone: Any) -> str:
    """HH:MM:SS.s in the shop's zone."""
    when = local(at_us, zone)
    return f"{timed_s(when)}.{when.microsecond // 100_000}"


def _drawings(detail: RunDetail) -> dict[str, Any]:
    """The strip of the run and the map of its parts; what cannot be drawn is left out and said."""
    drawn: dict[str, Any] = {"zooms": "", "map": "", "map_words": ""}
    try:
        table, one = strip_of(detail, data.zone(), data.now())
        drawn["zooms"] = strip.zooms(table, one)
    except Exception:
        log.exception("strip of run %s", detail.run_id)
        drawn["strip_failed"] = True
    try:
        seen = data.run_map(detail.run_id)
        if seen.parts:
            drawn["map"] = parts_map(list(seen.parts), sheet_mm=seen.sheet_mm)
            drawn["map_words"] = map_label(list(seen.parts))
    except Exception:
        log.exception("map of run %s", detail.run_id)
        drawn["map_failed"] = True
    return drawn


def plan_rows(plan: dict[str, Any], *, inch: bool = False) -> Any:
    """The plan the run was opened with, as rows; lengths and speeds in inches for who reads
    those."""
    for name, label, unit in PLAN_WORDS:
        value = plan.get(name)
        if value in (None, ""):
            continue
        if unit == "mm":
            shown = to_reader(said("{0:,.1f}", value), inch=inch)
        else:
            shown = (
                f"{written(value, ',.1f')} {unit}"
                if isinstance(value, float)
                else f"{value} {unit}"
            )
        yield {"label": _(label), "value": shown.strip()}
    snapshot = plan.get("snapshot")
    if isinstance(snapshot, dict):
        yield from _flat(snapshot, inch=inch)


def _flat(values: dict[str, Any], before: str = "", *, inch: bool = False) -> Any:
    """Single values of the snapshot; lists (contour by contour) and money are left out."""
    for name, value in values.items():
        if name in MONEY_KEYS or name in SAID_KEYS:
            continue
        if isinstance(value, int | float) and not isinstance(value, bool):
            name, value = lengths.named(name, value, inch=inch)
        label = f"{before}{name.replace('_', ' ')}"
        if isinstance(value, dict):
            yield from _flat(value, f"{label}, ", inch=inch)
        elif not isinstance(value, list) and value not in (None, ""):
            said = plain(value) if isinstance(value, float) else str(value)
            yield {"label": _(label), "value": said}


def plain(value: float) -> str:
    """A figure without powers of ten: 1,770 and 0.184."""
    return marked(f"{value:,.3f}".rstrip("0").rstrip("."))
