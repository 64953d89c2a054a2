"""Time opened: a run, a term of its difference, a plan, an arc."""

from __future__ import annotations

from collections.abc import Sequence
from numbers import Real
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from planning.calc import spent
from planning.calc.itemised import Item, itemised
from planning.calc.said import around, said
from planning.inputs.runs import load_runs
from planning.inputs.types import RunIn
from planning.reports.run import run_detail
from planning.reports.shapes import Figure, OpenedRow, RunDetail
from planning.reports.trace_rows import cut_short, kind_label, minutes, say_money, signed
from planning.services.entered_runs import entries_within
from shopfloor.models import ArcAssignment, NestPlan, Run, RunState
from shopfloor.nests.warnings import refusal_of
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop
from shopfloor.wording.counts import count
from telemetry.models import Arc

S = 1_000_000
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
    spent.ENTERED_BURNING: "burnt while the source was silent, as somebody entered it",
    spent.ENTERED_REST: "the rest of the time that was entered",
    spent.ALL_BUT_STOPPAGES: "typed in, so only its length and its stoppages are known",
}


def run(id: str) -> Figure:
    found = run_detail(run_id=id)
    over = found.closed_at is not None
    rows = [
        OpenedRow(
            str(row.term),
            minutes(_known(row.actual_s)),
            _word(str(row.term), found.evidence),
            f"plan {minutes(_known(row.planned_s))}" if _known(row.planned_s) is not None else "",
            "run_term",
            f"{found.run_id}:{row.term}",
        )
        for row in found.terms.itertuples()
    ]
    rows.append(OpenedRow("Elapsed" if over else "So far", minutes(found.elapsed_s), total=True))
    how = "elapsed time of its segments and stoppages"
    if found.planned_s is not None:
        how += f"; the plan says {minutes(found.planned_s)}"
        how += "" if over else " when it is finished"
    return Figure(
        f"{found.nest} on {found.table}",
        minutes(found.elapsed_s),
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
    return "entered" if term in spent.ENTERED else evidence


def run_term(id: str) -> Figure:
    """A term of a run down to the arcs, pauses and stops it is made of; they sum to it."""
    run_id, _, term = id.partition(":")
    found = run_detail(run_id=run_id)
    own = [row for row in found.terms.itertuples() if row.term == term]
    if not own:
        raise LookupError(f"run {run_id} has no term {term!r}")
    planned_s, over_s = _known(own[0].planned_s), _known(own[0].over_s)
    rows, counted_s = _items(found, term)
    total_s = _known(own[0].actual_s) if found.closed_at or not rows else counted_s
    rows.append(OpenedRow("Total", minutes(total_s), total=True))
    if planned_s is not None:
        beyond = signed(minutes(over_s).replace("-", "−"))
        rows.append(OpenedRow("Planned", minutes(planned_s), "planned", f"{beyond} beyond it"))
    return Figure(
        f"{term} of {found.nest}",
        minutes(total_s),
        _word(term, found.evidence),
        HOW_TERM.get(term, ""),
        tuple(rows),
        None,
        {"over_s": over_s, "planned_s": planned_s},
    )


def _items(found: RunDetail, term: str) -> tuple[list[OpenedRow], float]:
    """What the term's time was, piece by piece, and its sum in seconds. Of an entered run only its
    stops are known. A run that goes on is not held against its plan yet."""
    [loaded] = load_runs(Run.objects.filter(pk=found.run_id), now=timezone.now())
    if not loaded.measured:
        return (_stops(found) if term == spent.STOPPAGES else []), 0.0
    plan = loaded.plan if loaded.state == RunState.FINISHED else None
    burns = [arc.burn for arc in loaded.arcs]
    items = itemised(
        loaded.windows,
        burns,
        [(stop.from_us, stop.to_us) for stop in loaded.stoppages],
        loaded.silences,
        pierces_known=term in (spent.CUTTING, spent.PIERCING),
        planned_arc_us=plan.arc_by_contour_us if plan else None,
        travel_us=plan.travel_by_contour_us if plan else None,
        entries=entries_within(loaded),
    )
    counted_s = sum(item.us for item in items.get(term, [])) / S
    if term == spent.STOPPAGES:
        return _stops(found, items.get(term, [])), counted_s
    zone = ZoneInfo(the_shop().zone)
    rows = [
        (_item_row(item, loaded, zone), item.us / S)
        for item in sorted(items.get(term, []), key=lambda item: item.from_us)
    ]
    return cut_short(rows, minutes), counted_s


def _item_row(item: Item, loaded: RunIn, zone: ZoneInfo) -> OpenedRow:
    begun = f"{from_us(item.from_us).astimezone(zone):%H:%M:%S}"
    if item.burn is None:
        return OpenedRow(f"from {begun}", minutes(item.us / S))
    arc = loaded.arcs[item.burn]
    made = "no contour" if arc.contour is None else f"contour {arc.contour}"
    part = "" if item.us == arc.us else f"of an arc of {minutes(arc.us / S)}"
    return OpenedRow(f"{begun}, {made}", minutes(item.us / S), "measured", part, "arc", arc.key)


def _stops(found: RunDetail, items: Sequence[Item] = ()) -> list[OpenedRow]:
    """Stoppages as they were entered; what burnt in them, or two at once, is taken off."""
    rows, whole_s = [], 0.0
    for stop in found.stoppages.itertuples():
        seconds = _known(stop.seconds)
        whole_s += seconds or 0.0
        reason = str(stop.reason) or "no reason given yet"
        rows.append(OpenedRow(reason, minutes(seconds), str(stop.evidence)))
    counted_s = sum(item.us for item in items) / S
    if items and abs(whole_s - counted_s) >= 0.05:
        taken = minutes(counted_s - whole_s).replace("-", "−")
        rows.append(OpenedRow("burnt meanwhile, or outside the run's time", taken, "measured"))
    return rows


def _speed(mm_min: Any) -> str:
    return "speed unknown" if mm_min is None else said("{0:/min,.0f}", float(mm_min))


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
        return Figure(title, "unknown", "unknown", refusal_of(found), (), found.computed_at)
    snapshot = found.snapshot
    chart, rapid = snapshot.get("chart", {}), snapshot.get("motion", {}).get("rapid_mm_min")
    total = (found.total_s or 0.0) + (found.load_s or 0.0)
    rows = [
        OpenedRow("Cutting", minutes(found.cut_s), "planned", _speed(chart.get("speed_mm_min"))),
        OpenedRow(
            "Piercing", minutes(found.pierce_s), "planned", count(found.pierces or 0, "pierce")
        ),
        OpenedRow("Travel", minutes(found.travel_s), "planned", _speed(rapid)),
        OpenedRow("Touch-off", minutes(found.touch_off_s), "planned"),
        OpenedRow("Load and unload", minutes(found.load_s), "planned", "a setting of the table"),
        OpenedRow("Total time", minutes(total), "planned", total=True),
    ]
    for row in snapshot.get("chart_rows", ()):
        example = "example values, not for cutting" if row.get("example") else ""
        value = around("", _speed(row["speed_mm_min"]), f", from {row['valid_from'][:10]}")
        rows.append(OpenedRow(f"Chart row {row['thickness']}", value, "entered", example))
    money = say_money()
    for kind, minor in found.costs_minor.items():
        label = f"Cost: {kind_label(kind)}"
        rows.append(OpenedRow(label, money(minor), "planned", money=True))
    if found.costs_minor:
        whole = money(sum(found.costs_minor.values()))
        rows.append(OpenedRow("Cost without material", whole, "planned", total=True, money=True))
    return Figure(
        title,
        minutes(total),
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
