"""What one piece of a part took and cost, run by run, against what was planned.

A run's time divides between its lines as it was posted (`planning/reports/run_shares.py`), by
millimetres cut where nothing is posted; of a line's share a part carries its own share of the cut
length. Money is what a table costs: material and bench are not in it.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Sum

from shopfloor.models import KnownPart, PartPlace, Posting, PostingKind, Run, RunState

TIMED: Final = (PostingKind.MACHINE, PostingKind.LABOUR, PostingKind.GAS)
TABLE_COST: Final = (*TIMED, PostingKind.ENERGY, PostingKind.WEAR)
MOST_RUNS: Final = 50


@dataclass(frozen=True, slots=True)
class PartRun:
    """One run's share for all pieces of the part that its nest makes; None is unknown."""

    run: Run
    pieces: int
    seconds: float | None
    planned_s: float | None
    minor: int | None
    planned_minor: float | None

    def each(self, name: str) -> float | None:
        value = getattr(self, name)
        return None if value is None or not self.pieces else value / self.pieces

    @property
    def seconds_each(self) -> float | None:
        return self.each("seconds")

    @property
    def planned_s_each(self) -> float | None:
        return self.each("planned_s")

    @property
    def minor_each(self) -> int | None:
        return _whole(self.each("minor"))

    @property
    def planned_minor_each(self) -> int | None:
        return _whole(self.each("planned_minor"))


@dataclass(frozen=True, slots=True)
class PerPiece:
    """Means over the runs that know both sides; `runs` is how many know both times, `pieces` of
    all runs."""

    runs: int
    pieces: int
    seconds: float | None
    planned_s: float | None
    minor: int | None
    planned_minor: int | None


def part_runs(part: KnownPart, most: int = MOST_RUNS) -> list[PartRun]:
    """The newest finished runs of every nest that makes the part."""
    places: dict[int, list[PartPlace]] = defaultdict(list)
    for place in part.places.filter(revision__isnull=False):
        places[place.revision_id or 0].append(place)
    runs = list(
        Run.objects.filter(revision__in=list(places), state=RunState.FINISHED)
        .select_related("revision__nest", "table", "variance")
        .defer("revision__program")
        .order_by("-opened_at")[:most]
    )
    time, money = _posted(run.pk for run in runs)
    return [
        _of_run(run, places[run.revision_id], time.get(run.pk, {}), money.get(run.pk, {}))
        for run in runs
    ]


def per_piece(runs: Sequence[PartRun]) -> PerPiece:
    timed = [run for run in runs if run.seconds is not None and run.planned_s is not None]
    costed = [run for run in runs if run.minor is not None and run.planned_minor is not None]
    return PerPiece(
        len(timed), sum(run.pieces for run in runs),
        _mean(timed, "seconds"), _mean(timed, "planned_s"),
        _whole(_mean(costed, "minor")), _whole(_mean(costed, "planned_minor")),
    )  # fmt: skip


def _mean(runs: Sequence[PartRun], name: str) -> float | None:
    pieces = sum(run.pieces for run in runs)
    whole: float = sum(getattr(run, name) for run in runs)
    return whole / pieces if pieces else None


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)


Lines = dict[int | None, float]


def _posted(runs: Iterable[uuid.UUID]) -> tuple[dict[uuid.UUID, Lines], dict[uuid.UUID, Lines]]:
    """By run and line, the money of its time, and all that a table costs."""
    time: dict[uuid.UUID, Lines] = defaultdict(lambda: defaultdict(float))
    money: dict[uuid.UUID, Lines] = defaultdict(lambda: defaultdict(float))
    rows = (
        Posting.objects.filter(run__in=list(runs), kind__in=TABLE_COST)
        .order_by()
        .values_list("run", "line", "kind")
        .annotate(all=Sum("amount_minor"))
    )
    for run, line, kind, minor in rows:
        money[run][line] += minor
        if kind in TIMED:
            time[run][line] += minor
    return time, money


def _of_run(run: Run, places: Sequence[PartPlace], time: Lines, money: Lines) -> PartRun:
    whole = sum(time.values())
    if whole > 0:
        share = sum(place.share * time.get(place.line_id, 0.0) for place in places) / whole
    else:
        share = sum(place.of_nest for place in places)
    elapsed = getattr(getattr(run, "variance", None), "elapsed_s", None)
    planned = run.plan.get("total_s")
    minor = sum(place.share * money.get(place.line_id, 0.0) for place in places)
    return PartRun(
        run,
        sum(place.copies for place in places),
        None if elapsed is None else share * elapsed,
        None if planned is None else share * (planned + (run.plan.get("load_s") or 0.0)),
        round(minor) if money else None,
        _planned_minor(run.plan, share),
    )


def _planned_minor(plan: dict[str, Any], share: float) -> float | None:
    costs = plan.get("costs_minor", {})
    if not all(kind in costs for kind in TABLE_COST):
        return None
    whole: float = sum(costs[kind] for kind in TABLE_COST)
    return share * whole
