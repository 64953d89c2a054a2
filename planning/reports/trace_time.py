"""Time opened: a run, a term of its difference, a plan, an arc."""

from __future__ import annotations

from numbers import Real
from typing import Any

from planning.calc import spent
from planning.reports.run import run_detail
from planning.reports.shapes import Figure, OpenedRow
from planning.reports.trace_money import say_money
from shopfloor.models import ArcAssignment, NestPlan
from telemetry.models import Arc

HOW_TERM = {
    spent.CUTTING: "arc time after the pierce, of arcs that made a contour",
    spent.PIERCING: "from arc on to the pierce line of its source",
    spent.CUTTING_WITH_PIERCING: "arc time; the source tells of no pierces, so the two are one",
    spent.TRAVEL: "pauses between arcs, up to twice their planned travel",
    spent.WAITS: "pauses beyond the planned travel, without a reason",
    spent.TRAVEL_WITH_WAITING: "pauses between arcs; not every arc's contour is known",
    spent.LOADING_WITH_WAITING: "before the first arc and after the last",
    spent.REPEATS: "arcs that made nothing: misfires, and contours burnt again",
    spent.STOPPAGES: "stoppages with or without a reason, where nothing burnt",
    spent.UNKNOWN: "the source was silent",
    spent.ALL_BUT_STOPPAGES: "typed in, so only its length and its stoppages are known",
}


def _min(seconds: float | None) -> str:
    return "unknown" if seconds is None else f"{seconds / 60:,.1f} min"


def run(id: str) -> Figure:
    found = run_detail(run_id=id)
    rows = [
        OpenedRow(
            str(row.term),
            _min(_known(row.actual_s)),
            _word(str(row.term), found.evidence),
            "" if found.planned_s is None else f"plan {_min(_known(row.planned_s))}",
            "run_term",
            f"{found.run_id}:{row.term}",
        )
        for row in found.terms.itertuples()
    ]
    rows.append(OpenedRow("Elapsed", _min(found.elapsed_s), total=True))
    how = "elapsed time of its segments and stoppages"
    if found.planned_s is not None:
        how += f"; the plan says {_min(found.planned_s)}"
    return Figure(
        f"{found.nest} on {found.table}",
        _min(found.elapsed_s),
        found.evidence,
        how,
        tuple(rows),
        None,
        {"elapsed_s": found.elapsed_s, "planned_s": found.planned_s, "misfires": found.misfires},
    )


def _known(value: Any) -> float | None:
    return float(value) if isinstance(value, Real) else None


def _word(term: str, evidence: str) -> str:
    if term == spent.UNKNOWN:
        return "unknown"
    return "entered" if term == spent.STOPPAGES else evidence


def run_term(id: str) -> Figure:
    run_id, _, term = id.partition(":")
    found = run_detail(run_id=run_id)
    own = [row for row in found.terms.itertuples() if row.term == term]
    if not own:
        raise LookupError(f"run {run_id} has no term {term!r}")
    rows: list[OpenedRow] = []
    if term == spent.STOPPAGES:
        for stop in found.stoppages.itertuples():
            value = _min(_known(stop.seconds))
            rows.append(OpenedRow(str(stop.reason), value, str(stop.evidence)))
    elif term in (spent.CUTTING, spent.PIERCING, spent.CUTTING_WITH_PIERCING, spent.REPEATS):
        for arc in found.arcs.itertuples():
            contour = _known(arc.contour)
            label = "no contour" if contour is None else f"contour {contour:.0f}"
            value = f"{arc.seconds:,.1f} s"
            rows.append(OpenedRow(label, value, str(arc.evidence), "", "arc", str(arc.arc_key)))
    rows.append(OpenedRow("Total", _min(_known(own[0].actual_s)), total=True))
    return Figure(
        f"{term} of {found.nest}",
        _min(_known(own[0].actual_s)),
        _word(term, found.evidence),
        HOW_TERM.get(term, ""),
        tuple(rows),
        None,
        {"over_s": _known(own[0].over_s), "planned_s": _known(own[0].planned_s)},
    )


def plan(id: str) -> Figure:
    found = (
        NestPlan.objects.filter(pk=int(id))
        .select_related("revision__nest", "table", "wear_set")
        .defer("revision__program", "arcs_s")
        .first()
    )
    if found is None:
        raise LookupError(f"there is no plan {id}")
    title = f"{found.revision.nest.name} on {found.table}, {found.wear_set}"
    if found.total_s is None:
        return Figure(title, "unknown", "unknown", found.problem, (), found.computed_at)
    snapshot = found.snapshot
    chart, rapid = snapshot.get("chart", {}), snapshot.get("motion", {}).get("rapid_mm_min")
    rows = [
        OpenedRow("Cutting", _min(found.cut_s), "planned", f"{chart.get('speed_mm_min')} mm/min"),
        OpenedRow("Piercing", _min(found.pierce_s), "planned", f"{found.pierces} pierces"),
        OpenedRow("Travel", _min(found.travel_s), "planned", f"{rapid} mm/min"),
        OpenedRow("Touch-off", _min(found.touch_off_s), "planned"),
        OpenedRow("Load and unload", _min(found.load_s), "planned", "a setting of the table"),
    ]
    for row in snapshot.get("chart_rows", ()):
        example = "example values, not for cutting" if row.get("example") else ""
        value = f"{row['speed_mm_min']:g} mm/min, from {row['valid_from'][:10]}"
        rows.append(OpenedRow(f"Chart row {row['thickness']}", value, "entered", example))
    money = say_money()
    for kind, minor in found.costs_minor.items():
        rows.append(OpenedRow(kind, money(minor), "planned"))
    total = (found.total_s or 0.0) + (found.load_s or 0.0)
    rows.append(OpenedRow("Total time", _min(total), "planned", total=True))
    return Figure(
        title,
        _min(total),
        "planned",
        "the program's own path, timed with the table's motion and the chart",
        tuple(rows),
        found.computed_at,
        {"total_s": found.total_s, "unknown": snapshot.get("unknown", [])},
    )


def arc(id: str) -> Figure:
    found = Arc.objects.filter(key=id).select_related("feed").first()
    if found is None:
        raise LookupError(f"there is no arc {id!r}")
    said = (
        ArcAssignment.objects.filter(arc_key=id)
        .select_related("segment__run__revision__nest", "by")
        .defer("segment__run__revision__program", "segment__run__plan")
        .first()
    )
    pierces = "unknown" if found.pierces is None else str(found.pierces)
    rows = [
        OpenedRow("Source", found.feed.name, "measured", kind="feed", id=found.feed.name),
        OpenedRow("Table and torch", f"{found.table}, torch {found.torch}"),
        OpenedRow("Ended", found.ended),
        OpenedRow("Pierces", pierces, "measured"),
    ]
    for label, value, unit in (("Current", found.amps, "A"), ("Voltage", found.volts, "V")):
        if value is not None:
            rows.append(OpenedRow(label, f"{value:.1f} {unit}", "measured"))
    if said and said.segment:
        who = said.by.shown_name if said.by else "matched by time and order"
        nest = said.segment.run.revision.nest.name
        rows.append(OpenedRow("Run", nest, note=who, kind="run", id=str(said.segment.run_id)))
        if said.contour_number is not None:
            rows.append(OpenedRow("Contour", str(said.contour_number)))
    else:
        rows.append(OpenedRow("Run", "none"))
    seconds = found.seconds
    return Figure(
        "Arc",
        "still burning" if seconds is None else f"{seconds:,.1f} s",
        "measured",
        "from its arc-on line to its arc-off line",
        tuple(rows),
        None,
        {"on_us": found.on_us, "off_us": found.off_us, "feed_version": found.feed_version},
    )
