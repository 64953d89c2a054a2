"""What each set of the shop would have taken for a run, as it was planned when the run opened."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from planning.inputs.chunks import chunked
from shopfloor.models import NestPlan, Run, WearSet


class Opened(Protocol):
    """A run with what its plans are found by."""

    @property
    def run_id(self) -> uuid.UUID: ...
    @property
    def revision_id(self) -> int: ...
    @property
    def table_id(self) -> int: ...


@dataclass(frozen=True, slots=True)
class SetPlan:
    """A nest on a table with one set; seconds, millimetres, minor units by kind."""

    wear_set: WearSet
    cut_mm: float | None
    total_s: float | None
    load_s: float | None
    costs_minor: Mapping[str, int]
    problem: str


def run_plans(runs: Iterable[Opened]) -> dict[uuid.UUID, list[SetPlan]]:
    """By run, the weakest set first. A run that kept none (it is from before they were kept)
    takes what is published now."""
    runs = list(runs)
    kept: dict[uuid.UUID, dict[str, Any] | None] = dict(
        chunked(
            sorted({run.run_id for run in runs}),
            lambda some: Run.objects.filter(pk__in=some).values_list("pk", "plan__sets"),
        )
    )
    bare = [run for run in runs if not kept.get(run.run_id)]
    published = _published({run.revision_id for run in bare})
    sets = WearSet.objects.in_bulk()
    found: dict[uuid.UUID, list[SetPlan]] = defaultdict(list)
    for run in runs:
        own = kept.get(run.run_id) or published[run.revision_id, run.table_id]
        known = [SetPlan(sets[int(pk)], **fields) for pk, fields in own.items() if int(pk) in sets]
        found[run.run_id] = sorted(known, key=lambda plan: plan.wear_set.current_a)
    return found


def _published(revisions: set[int]) -> dict[tuple[int, int], dict[str, Any]]:
    names = ("cut_mm", "total_s", "load_s", "costs_minor", "problem")
    found: dict[tuple[int, int], dict[str, Any]] = defaultdict(dict)
    for revision, table, wear_set, *values in chunked(
        sorted(revisions),
        lambda some: NestPlan.objects.filter(revision__in=some).values_list(
            "revision_id", "table_id", "wear_set_id", *names
        ),
    ):
        found[revision, table][str(wear_set)] = dict(zip(names, values, strict=True))
    return found
