"""What routes of one nest are made from: what is asked, holes, the drawer, what stands before."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, Sum

from planning.calc.program.checks import HOLE_TO_THICKNESS
from planning.calc.routes import PartStock
from planning.reports.queue import queue_plans
from shopfloor.models import (
    BenchEntry,
    Contour,
    Fitting,
    Nest,
    PartResult,
    Run,
    RunState,
    SetPart,
    Table,
    WearSet,
)
from shopfloor.nests.parts_made import parts_made
from shopfloor.wear.fitted import set_of
from shopfloor.wear.lives import piece_starts


@dataclass(frozen=True, slots=True)
class Asked:
    """What the lines on a nest ask: the squarest u range of any (None: nothing), whether one must
    be fine, and their next steps."""

    u_range: int | None
    must_be_fine: bool
    next_steps: tuple[str, ...]
    jobs: tuple[str, ...]


def asked_of(revision_id: int) -> Asked:
    rows = list(
        Contour.objects.filter(revision=revision_id)
        .exclude(line=None)
        .order_by("line__job__number", "line__number")
        .values_list(
            "line__u_range_asked", "line__must_be_fine", "line__next_step", "line__job__number"
        )
        .distinct()
    )
    ranges = [row[0] for row in rows if row[0] is not None]
    return Asked(
        min(ranges, default=None),
        any(row[1] for row in rows),
        tuple(dict.fromkeys(row[2] for row in rows if row[2])),
        tuple(dict.fromkeys(row[3] for row in rows)),
    )


def small_holes(revision_id: int, thickness_mm: float) -> int:
    """Round holes narrower than the plate is thick, by their length without leads / pi."""
    holes = Contour.objects.filter(revision=revision_id, inner=True, closed=True)
    round_mm = F("cut_mm") - F("lead_in_mm") - F("lead_out_mm")
    return (
        holes.annotate(round_mm=round_mm)
        .filter(round_mm__lt=HOLE_TO_THICKNESS * thickness_mm * math.pi)
        .count()
    )


ENTRIES = 200  # enough to tell; older ones are of other people and pieces


@dataclass(frozen=True, slots=True)
class HoleMinutes:
    """Bench minutes a hole from the shop's own log; None where nobody has logged any."""

    minutes: float | None
    holes: int
    lines: int


def hole_minutes() -> HoleMinutes:
    """Minutes logged as hole work over the holes of the good parts of those lines: the lines of
    the newest `ENTRIES` entries."""
    holes_work = BenchEntry.objects.filter(kind="holes")
    newest = holes_work.order_by("-at", "-pk").values_list("line_id", flat=True)[:ENTRIES]
    logged = dict(
        holes_work.filter(line__in=set(newest))
        .order_by()
        .values_list("line_id")
        .annotate(all=Sum("minutes"))
    )
    holes = _holes_of_a_part(logged)
    good = dict(
        PartResult.objects.filter(line__in=logged, outcome="good")
        .order_by()
        .values_list("line_id")
        .annotate(all=Sum("quantity"))
    )
    own = {line: holes[line] * good.get(line, 0) for line in holes if good.get(line, 0) > 0}
    whole = sum(own.values())
    minutes = sum(logged[line] for line in own) / whole if whole else None
    return HoleMinutes(minutes, round(whole), len(own))


def _holes_of_a_part(lines: Iterable[int]) -> dict[int, float]:
    """Holes of each line's part by the newest revision that has any."""
    own = Contour.objects.filter(line__in=list(lines))
    made = {(line, of): count for line, of, count in parts_made(own, "line", "revision")}
    rows = own.filter(inner=True, closed=True).order_by("revision")
    counted = rows.values_list("line", "revision").annotate(inner=Count("pk"))
    return {
        line: inner / made[line, revision]
        for line, revision, inner in counted
        if made.get((line, revision))
    }


def fitted_on(table: Table) -> list[Fitting]:
    return list(
        Fitting.objects.filter(torch__table=table, removed_at=None).select_related(
            "piece__part__wear_set", "piece__outlook"
        )
    )


def set_on(fitted: list[Fitting]) -> WearSet | None:
    return set_of(fitted)


def stock_of(wear_sets: list[int], fitted: list[Fitting]) -> dict[int, list[PartStock]]:
    """By set, its parts with what is left of the ones in the torch and what the drawer holds."""
    left: dict[tuple[int, str], float | None] = {}
    for fitting in fitted:
        outlook = getattr(fitting.piece, "outlook", None)
        part = fitting.piece.part
        known = outlook.starts_left if outlook is not None else None
        key = (part.wear_set_id, part.kind)
        had = left.get(key, 0.0)
        left[key] = None if known is None or had is None else had + max(0, known)
    found: dict[int, list[PartStock]] = defaultdict(list)
    parts = list(SetPart.objects.filter(wear_set__in=wear_sets).order_by("wear_set", "pk"))
    gives = piece_starts(parts)
    for part in parts:
        own = left.get((part.wear_set_id, part.kind), 0.0)
        found[part.wear_set_id].append(PartStock(part.kind, own, gives[part.pk], part.in_drawer))
    return dict(found)


@dataclass(frozen=True, slots=True)
class Before:
    """What a table does first: seconds of it (None: one of them has no plan), and how many."""

    seconds: float | None
    runs: int


def before(nest: Nest, table: Table, now: datetime) -> Before:
    """The run that is on, and what waits on the table's list ahead of this nest (all of it where
    the nest is not on it), each as planned; set changes between them are not in it."""
    seconds: float | None = 0.0
    count = 0
    for run in Run.objects.filter(table=table, state=RunState.OPEN).only("opened_at", "plan"):
        count += 1
        total = run.plan.get("total_s")
        if total is None:
            seconds = None
        elif seconds is not None:
            gone = (now - run.opened_at).total_seconds()
            seconds += max(0.0, total + (run.plan.get("load_s") or 0.0) - gone)
    for item in queue_plans(tables=[table.pk]):
        if item.nest_id == nest.pk:
            break
        count += 1
        seconds = None if seconds is None or item.total_s is None else seconds + item.total_s
    return Before(seconds, count)
