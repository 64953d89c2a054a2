"""How long a table's contours burn against their plan, short ones apart from long ones: what its
figures of motion leave out shows first on short contours."""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any, Final

from planning.calc.pauses import Burnt, CutRun, Gap
from shopfloor.models import ArcAssignment, Contour, Run, RunState, Table
from shopfloor.runs.arcs import CHUNK
from telemetry.models import Arc

NEWEST: Final = 30  # runs
LEAST: Final = 10  # arcs of a kind, below which nothing is said of it
# Our assumption: up to these lengths, in mm, a contour is mostly corners and speeding up.
BOUNDS: Final = (150.0, 600.0)


@dataclass(frozen=True, slots=True)
class Seen:
    """One contour's arc: length in mm, seconds as planned and as heard."""

    cut_mm: float
    planned_s: float
    seen_s: float


@dataclass(frozen=True, slots=True)
class SeenKind:
    """Contours above ``from_mm`` and up to ``to_mm`` (None: any length): how many, the median of
    seen over planned seconds and the middle half of it. None below ``LEAST``."""

    from_mm: float
    to_mm: float | None
    n: int
    ratio: float | None
    low: float | None
    high: float | None


def seen_kinds(arcs: Iterable[Seen]) -> list[SeenKind]:
    found: list[list[float]] = [[] for _ in range(len(BOUNDS) + 1)]
    for arc in arcs:
        if arc.planned_s > 0:
            found[sum(arc.cut_mm > bound for bound in BOUNDS)].append(arc.seen_s / arc.planned_s)
    edges = (0.0, *BOUNDS, None)
    return [
        SeenKind(edges[i] or 0.0, edges[i + 1], len(own), *_middle(sorted(own)))
        for i, own in enumerate(found)
    ]


def _middle(ratios: Sequence[float]) -> tuple[float | None, float | None, float | None]:
    if len(ratios) < LEAST:
        return None, None, None
    quarter = (len(ratios) - 1) / 4
    return (
        median(ratios), ratios[math.floor(quarter)], ratios[math.ceil(3 * quarter)]
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class SeenArc:
    """One contour's arc, whole and cut once. Instants in microseconds."""

    number: int
    cut_mm: float
    planned_s: float
    on_us: int
    off_us: int

    @property
    def seen_s(self) -> float:
        return (self.off_us - self.on_us) / 1_000_000


@dataclass(frozen=True, slots=True)
class SeenRun:
    """A finished run, the plan it began with, and its arcs by contour."""

    plan: dict[str, Any]
    arcs: dict[int, SeenArc]


def table_kinds(runs: Sequence[SeenRun]) -> list[SeenKind]:
    return seen_kinds(
        Seen(arc.cut_mm, arc.planned_s, arc.seen_s) for run in runs for arc in run.arcs.values()
    )


def cut_runs(runs: Sequence[SeenRun]) -> list[CutRun]:
    """For what they tell of the table's pauses; those without a plan contour by contour are out."""
    return [found for run in runs if (found := _cut_run(run)) is not None]


def _cut_run(run: SeenRun) -> CutRun | None:
    snapshot = run.plan.get("snapshot") or {}
    travel_s = (snapshot.get("contours") or {}).get("travel_s") or []
    count, touch_off_s = len(run.plan.get("arcs_s") or []), run.plan.get("touch_off_s")
    if not travel_s or not count or touch_off_s is None:
        return None
    settle_s = (snapshot.get("motion") or {}).get("settle_s") or 0.0
    arcs, gaps = [], []
    for number, arc in sorted(run.arcs.items()):
        arcs.append(Burnt(arc.planned_s - settle_s, arc.seen_s))
        before = run.arcs.get(number - 1)
        if before is not None and before.off_us <= arc.on_us and number <= len(travel_s):
            gaps.append(Gap(travel_s[number - 1], (arc.on_us - before.off_us) / 1_000_000))
    return CutRun(tuple(arcs), tuple(gaps), touch_off_s / count)


def table_runs(table: Table) -> list[SeenRun]:
    """Of the newest finished runs, oldest first: arcs that were one contour whole, heard to their
    end and not cut again, against the plan their run began with."""
    newest = Run.objects.filter(table=table, state=RunState.FINISHED).order_by("-opened_at")
    plans = {run.pk: run for run in reversed(newest.only("plan", "revision")[:NEWEST])}
    rows = ArcAssignment.objects.filter(
        segment__run__in=list(plans), contour_number__isnull=False
    ).values_list("arc_key", "segment__run", "contour_number", "repeat")
    told: dict[tuple[uuid.UUID, int], list[str]] = {}
    again = set()
    for key, run, number, repeat in rows:
        at = (run, number or 0)
        told.setdefault(at, []).append(key)
        if repeat:
            again.add(at)
    single = {keys[0]: at for at, keys in told.items() if len(keys) == 1 and at not in again}
    lengths = {
        (revision, number): mm
        for revision, number, mm in Contour.objects.filter(
            revision__in={run.revision_id for run in plans.values()}, pierces__gt=0
        ).values_list("revision", "number", "cut_mm")
    }
    found = {pk: SeenRun(run.plan, {}) for pk, run in plans.items()}
    for key, on_us, off_us in _heard(list(single)):
        run_id, number = single[key]
        planned = plans[run_id].plan.get("arcs_s") or []
        mm = lengths.get((plans[run_id].revision_id, number))
        if mm is not None and 1 <= number <= len(planned):
            planned_s = planned[number - 1] or 0.0
            found[run_id].arcs[number] = SeenArc(number, mm, planned_s, on_us, off_us)
    return list(found.values())


def _heard(keys: Sequence[str]) -> Iterable[tuple[str, int, int]]:
    for at in range(0, len(keys), CHUNK):
        rows = Arc.objects.filter(key__in=keys[at : at + CHUNK], ended="off")
        for key, on_us, off_us in rows.values_list("key", "on_us", "off_us"):
            if off_us is not None:
                yield key, on_us, off_us
