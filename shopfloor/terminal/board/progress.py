"""How far a run is, from the arcs assigned to it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from shopfloor.models import ArcAssignment, Contour, Run
from shopfloor.selectors.arcs import table_listens


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

    @property
    def all_seen(self) -> bool:
        return self.listens and 0 < self.contours <= len(self.done)

    @property
    def words(self) -> str:
        """7 of 12 base plates; 31 of 48 contours where arcs cannot be placed."""
        if not self.listens:
            return "no signal from this table: counts are entered at the end"
        if self.unplaced and not self.done:
            return f"{self.unplaced} arcs burnt, {self.contours} planned"
        if self.parts:
            return f"{self.parts_done} of {self.parts} {self.part_name}"
        return f"{len(self.done)} of {self.contours} contours"


def progress_of(run: Run) -> Progress:
    numbers = list(
        ArcAssignment.objects.filter(segment__run=run, repeat=False).values_list(
            "contour_number", flat=True
        )
    )
    done = frozenset(number for number in numbers if number is not None)
    members: dict[tuple[int | None, str, int], list[int]] = defaultdict(list)
    names: set[str] = set()
    rows = Contour.objects.filter(revision=run.revision_id).values_list(
        "number", "line", "part", "copy"
    )
    for number, line, part, copy in rows:
        members[line, part, copy].append(number)
        names.add(part)
    return Progress(
        contours=sum(len(part) for part in members.values()),
        done=done,
        unplaced=len([number for number in numbers if number is None]),
        parts=len(members),
        parts_done=sum(1 for part in members.values() if done.issuperset(part)),
        part_name=plural(sorted(names), len(members)),
        listens=bool(numbers) or table_listens(run.table),
    )


def plural(names: Sequence[str], count: int) -> str:
    """The one part's name where there is one kind, else parts."""
    if len(names) == 1 and names[0]:
        # A name that ends in a size or a number takes no s.
        bare = count == 1 or names[0].endswith("s") or not names[0][-1:].isalpha()
        return names[0] if bare else f"{names[0]}s"
    return "part" if count == 1 else "parts"
