"""A run's plan as times: from the snapshot it opened with, else from what is published now."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from planning.calc.spans import Span
from planning.calc.variance import PlannedTimes
from planning.inputs.types import ContourIn, SegmentIn
from shopfloor.models import NestPlan, Run

FIELDS = (
    "cut_mm",
    "travel_mm",
    "pierces",
    "cut_s",
    "pierce_s",
    "travel_s",
    "touch_off_s",
    "load_s",
    "total_s",
    "bench_min",
    "arcs_s",
    "costs_minor",
    "snapshot",
)


def fallback_plans(
    runs: Sequence[Run], segments: Mapping[uuid.UUID, Sequence[SegmentIn]]
) -> dict[uuid.UUID, dict[str, Any]]:
    """For runs that opened without a plan: the one now published for their first set."""
    bare = [run for run in runs if run.plan.get("total_s") is None and segments.get(run.pk)]
    if not bare:
        return {}
    published = {
        (plan.revision_id, plan.table_id, plan.wear_set_id): plan
        for plan in NestPlan.objects.filter(
            revision__in={run.revision_id for run in bare}, total_s__isnull=False
        )
    }
    found = {}
    for run in bare:
        key = (run.revision_id, run.table_id, segments[run.pk][0].wear_set_id)
        if plan := published.get(key):
            found[run.pk] = {name: getattr(plan, name) for name in FIELDS}
    return found


def _us(seconds: float | None) -> int:
    return round((seconds or 0.0) * 1_000_000)


def _all_us(seconds: Sequence[float | None] | None) -> list[int]:
    return [round((each or 0.0) * 1_000_000) for each in seconds or ()]


def plan_times(
    fields: Mapping[str, Any],
    contours: Sequence[ContourIn],
    segments: Sequence[SegmentIn],
    silences: Sequence[Span] = (),
) -> PlannedTimes | None:
    """The plan of what was to be cut. Where the segments end short of the last contour, only of
    the contours they cover, if the plan is known contour by contour. How far a segment came is
    not known where its source was silent. None without a plan."""
    if fields.get("total_s") is None:
        return None
    arcs = _all_us(fields.get("arcs_s"))
    by_contour = (fields.get("snapshot") or {}).get("contours") or {}
    pierce = _all_us(by_contour.get("pierce_s"))
    travel = _all_us(by_contour.get("travel_s"))
    touch = _us(fields.get("touch_off_s"))
    known = bool(arcs) and len(arcs) == len(pierce) == len(travel)
    each_touch = touch // len(arcs) if arcs else 0
    pierced = frozenset(each.number for each in contours if each.pierces > 0) if contours else None
    numbers = list(range(1, len(arcs) + 1))
    covered = _covered(segments, len(arcs), silences)
    if known and covered is not None and 0 < len(covered) < len(arcs):
        numbers = sorted(covered)
        return PlannedTimes(
            cut_us=sum(arcs[n - 1] - pierce[n - 1] for n in numbers),
            pierce_us=sum(pierce[n - 1] for n in numbers),
            travel_us=sum(travel[n - 1] for n in numbers),
            touch_off_us=each_touch * len(numbers),
            load_us=_us(fields.get("load_s")),
            arc_by_contour_us={n: arcs[n - 1] for n in numbers},
            travel_by_contour_us={n: travel[n - 1] + each_touch for n in numbers},
            pierced_contours=pierced,
        )
    return PlannedTimes(
        cut_us=_us(fields.get("cut_s")),
        pierce_us=_us(fields.get("pierce_s")),
        travel_us=_us(fields.get("travel_s")),
        touch_off_us=touch,
        load_us=_us(fields.get("load_s")),
        arc_by_contour_us={n: arcs[n - 1] for n in numbers} if arcs else None,
        travel_by_contour_us=({n: travel[n - 1] + each_touch for n in numbers} if known else None),
        pierced_contours=pierced,
    )


def _covered(
    segments: Sequence[SegmentIn], count: int, silences: Sequence[Span]
) -> set[int] | None:
    """Contours the segments reached; None where one does not say how far it came."""
    covered: set[int] = set()
    for segment in segments:
        deaf = any(a < segment.to_us and b > segment.from_us for a, b in silences)
        if segment.last_contour is None or deaf:
            return None
        covered.update(range(segment.first_contour, min(segment.last_contour, count) + 1))
    return covered
