"""How far a run is, from the arcs assigned to it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from planning.calc.numbers import filled
from shopfloor.models import ArcAssignment, Contour, Run
from shopfloor.runs.arcs import arcs_by_key, first_missing_us, table_listens, to_us
from shopfloor.runs.matching import ArcInput
from shopfloor.runs.matching.contours import SHORT
from shopfloor.runs.part_counts import run_begins


@dataclass(frozen=True, slots=True)
class RunProgressSource:
    """A contour whose arc is too short for it, or burns still. `burnt_s` None: it burns now, or
    its end was never told."""

    contour: int
    burnt_s: float | None
    planned_s: float | None

    @property
    def words(self) -> str:
        if self.burnt_s is None:
            return _("{contour} was begun, and no line says that it ended.").format(
                contour=self.contour
            )
        return filled(
            _("{contour} was begun: {burnt_s:.0f} of about {planned_s:.0f} s burnt."),
            contour=self.contour,
            burnt_s=self.burnt_s,
            planned_s=self.planned_s,
        )


@dataclass(frozen=True, slots=True)
class Progress:
    """`done` holds the numbers of contours seen burnt; `unplaced` counts arcs of the run that
    nobody can put on a contour. `listens` false: no source is set up, so nothing is ever seen."""

    contours: int
    done: frozenset[int]
    unplaced: int
    parts: int
    parts_done: int
    part_name: str
    listens: bool
    begun: RunProgressSource | None = None  # the last one, where it was not cut through
    certain: int | None = None  # the last of the first, one after the other, with no line missing
    first: int = 1  # of this sheet's contours: above 1 where the nest went on from another plate
    reached: frozenset[int] = frozenset()  # contours any arc was placed on, the begun one too
    latest: ArcInput | None = None  # the arc that was assigned last, a repeat too

    @property
    def all_seen(self) -> bool:
        return self.listens and 0 < self.contours - self.first + 1 <= len(self.done)

    @property
    def words(self) -> str:
        """7 of 12 base plates; 31 of 48 contours where arcs cannot be placed."""
        if not self.listens:
            return _("no signal from this table: counts are entered at the end")
        if self.unplaced and not self.done:
            return _("{unplaced} arcs burnt, {contours} planned").format(
                unplaced=self.unplaced, contours=self.contours
            )
        if self.parts:
            return _("{parts_done} of {parts} {part_name}").format(
                parts_done=self.parts_done, parts=self.parts, part_name=self.part_name
            )
        return _("{count} of {contours} contours").format(
            count=len(self.done), contours=self.contours - self.first + 1
        )


def progress_of(run: Run) -> Progress:
    rows = ArcAssignment.objects.filter(segment__run=run).order_by("pk")
    held = list(rows.values_list("arc_key", "contour_number", "repeat"))
    placed = {key: number for key, number, repeat in held if not repeat}
    numbers = list(placed.values())
    ends: dict[int, int] = {}
    burnt = defaultdict[int, list[float | None]](list)
    arcs = {arc.key: arc for arc in arcs_by_key([key for key, _, _ in held])}
    for arc in arcs.values():
        number = placed.get(arc.key)
        if number is not None:
            burnt[number].append(arc.seconds)
            ends[number] = arc.off_us or arc.on_us
    begun = _begun(run, burnt)
    done = frozenset(number for number in burnt if begun is None or number != begun.contour)
    members: dict[tuple[int | None, str, int], list[int]] = defaultdict(list)
    names: set[str] = set()
    cut = Contour.objects.filter(revision=run.revision_id)
    made: dict[tuple[int | None, str, int], int] = defaultdict(int)
    contours = 0
    columns = ("line", "part", "copy", "number", "parts", "edges")
    for line, part, copy, number, several, edges in cut.values_list(*columns):
        key = (line, part, copy)
        members[key] += [number, *edges]
        made[key] = max(made[key], several)
        names.add(part)
        contours += 1
    first = run_begins(run)
    parts = {key: part for key, part in members.items() if max(part) >= first}
    whole = [key for key in parts if done.issuperset(n for n in parts[key] if n >= first)]
    planned = sum(made[key] for key in parts)
    return Progress(
        contours=contours,
        done=done,
        unplaced=len([number for number in numbers if number is None]),
        parts=planned,
        parts_done=sum(made[key] for key in whole),
        part_name=plural(sorted(names), planned),
        listens=bool(numbers) or table_listens(run.table),
        begun=begun,
        certain=_certain(run, done, ends, first),
        first=first,
        reached=frozenset(number for number in numbers if number is not None),
        latest=arcs.get(held[-1][0]) if held else None,
    )


def _begun(run: Run, burnt: dict[int, list[float | None]]) -> RunProgressSource | None:
    """The furthest contour, where its arcs together are short of its plan or one has no end."""
    if not burnt:
        return None
    last = max(burnt)
    plan = run.plan.get("arcs_s") or []
    planned_s = plan[last - 1] if 0 < last <= len(plan) else None
    arcs = burnt[last]
    if None in arcs:
        return RunProgressSource(last, None, planned_s)
    whole_s = sum(seconds for seconds in arcs if seconds is not None)
    return (
        RunProgressSource(last, whole_s, planned_s)
        if planned_s and whole_s < SHORT * planned_s
        else None
    )


def _certain(run: Run, done: frozenset[int], ends: dict[int, int], first: int) -> int | None:
    """Counting from the first: where no arc is missing and no line of the source is."""
    hole_us = first_missing_us(run.table, to_us(run.opened_at))
    number = first - 1
    while number + 1 in done and (hole_us is None or ends[number + 1] < hole_us):
        number += 1
    return number if number >= first else None


def plural(names: Sequence[str], count: int) -> str:
    """The one part's name where there is one kind, else parts."""
    if len(names) == 1 and names[0]:
        # A name that ends in a size or a number takes no s.
        bare = count == 1 or names[0].endswith("s") or not names[0][-1:].isalpha()
        return names[0] if bare else f"{names[0]}s"
    return "part" if count == 1 else "parts"
