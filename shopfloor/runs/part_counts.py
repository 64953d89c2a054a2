"""How many parts of a line are made, and how many are still owed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import Min, Sum

from shopfloor.models import (
    Action,
    ActionState,
    Contour,
    JobLine,
    NestRevision,
    PartResult,
    Run,
    RunState,
    Segment,
)
from shopfloor.runs.matching_input import UNDONE


@dataclass(frozen=True, slots=True)
class LineCount:
    """`good_low` and `good_high` differ while two people say different things of one run."""

    line: int
    ordered: int
    good: int
    scrap: int
    rework: int
    good_low: int
    good_high: int

    @property
    def shortage(self) -> int:
        return max(self.ordered - self.good, 0)

    @property
    def shortage_low(self) -> int:
        return max(self.ordered - self.good_high, 0)

    @property
    def shortage_high(self) -> int:
        return max(self.ordered - self.good_low, 0)


def line_counts(line_ids: Iterable[int]) -> dict[int, LineCount]:
    """Counts of many lines: three queries, whatever their number."""
    ids = list(line_ids)
    ordered = dict(JobLine.objects.filter(pk__in=ids).values_list("pk", "quantity"))
    sums: dict[tuple[int, str], int] = defaultdict(int)
    rows = (
        PartResult.objects.filter(line__in=ids)
        .exclude(run__state=RunState.VOIDED)
        .values_list("line", "outcome")
        .annotate(total=Sum("quantity"))
    )
    for line, outcome, total in rows:
        sums[line, outcome] += total
    doubts = _doubts()
    found = {}
    for line, quantity in ordered.items():
        good = sums[line, "good"]
        found[line] = LineCount(
            line=line,
            ordered=quantity,
            good=good,
            scrap=sums[line, "scrap"],
            rework=sums[line, "rework"],
            good_low=good + sum(min(doubt, 0) for doubt in doubts.get(line, [])),
            good_high=good + sum(max(doubt, 0) for doubt in doubts.get(line, [])),
        )
    return found


def run_counts(run: Run) -> dict[int, dict[str, int]]:
    """`{line: {outcome: parts}}` of one run, corrections taken in."""
    found: dict[int, dict[str, int]] = defaultdict(lambda: {"good": 0, "scrap": 0, "rework": 0})
    rows = PartResult.objects.filter(run=run).values_list("line", "outcome")
    for line, outcome, total in rows.annotate(total=Sum("quantity")):
        found[line][outcome] = total
    return dict(found)


@dataclass(frozen=True, slots=True)
class SheetPart:
    """One copy of a part on a sheet with all its contours, or `quantity` copies that one contour
    makes at once. `edges` are contours of other parts that must be cut too before it is whole."""

    line: int
    part: str
    copy: int
    contours: tuple[int, ...]
    quantity: int = 1
    edges: tuple[int, ...] = ()

    @property
    def needs(self) -> tuple[int, ...]:
        return tuple(sorted({*self.contours, *self.edges}))


def parts_on_sheet(revision: NestRevision) -> list[SheetPart]:
    """Every copy of every ordered part a revision cuts, in cut order."""
    copies: dict[tuple[int, str, int], list[Cut]] = defaultdict(list)
    rows = Contour.objects.filter(revision=revision).exclude(line=None).order_by("number")
    names = ("line", "part", "copy", "number", "parts", "edges")
    for line, part, copy, *cut in rows.values_list(*names):
        copies[line, part, copy].append(Cut(*cut))
    return [SheetPart(*key, *_together(cuts)) for key, cuts in copies.items()]


class Cut(NamedTuple):
    """A contour: its number, how many parts it makes, and what else cuts their edges."""

    number: int
    parts: int
    edges: list[int]


def _together(cuts: Sequence[Cut]) -> tuple[tuple[int, ...], int, tuple[int, ...]]:
    edges = {number for cut in cuts for number in cut.edges}
    return tuple(cut.number for cut in cuts), max(cut.parts for cut in cuts), tuple(sorted(edges))


def by_line(parts: Iterable[SheetPart]) -> dict[int, int]:
    """How many parts of each line these are."""
    found: dict[int, int] = defaultdict(int)
    for part in parts:
        found[part.line] += part.quantity
    return dict(found)


def parts_of_run(run: Run) -> list[SheetPart]:
    """Those of a revision's parts that this run can have made: one that went on from another plate
    leaves out what was whole on that."""
    first = run_begins(run)
    return [part for part in parts_on_sheet(run.revision) if max(part.needs) >= first]


def run_begins(run: Run) -> int:
    """The first contour on this run's sheet; 1 but for a nest that went on from another plate."""
    firsts = Segment.objects.filter(run=run).exclude(end_reason=UNDONE)
    return firsts.aggregate(first=Min("first_contour"))["first"] or 1


def _doubts() -> dict[int, list[int]]:
    """By line: how many more (or fewer) good parts each unresolved entry says than its run has."""
    rows = Action.objects.filter(state=ActionState.CONFLICT, kind="finish")
    said = list(rows.values_list("result__mine__run", "result__mine__parts"))
    if not said:
        return {}
    results = PartResult.objects.filter(run__in={run for run, _ in said}, outcome="good")
    have = {
        (str(run), line): total
        for run, line, total in results.values_list("run", "line").annotate(total=Sum("quantity"))
    }
    found: dict[int, list[int]] = defaultdict(list)
    for run, parts in said:
        for part in parts or []:
            line = int(part["line"])
            found[line].append(int(part["good"]) - have.get((run, line), 0))
    return found
