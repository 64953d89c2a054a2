"""Arcs that no run holds, in stretches of work, with what they might have been."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from shopfloor.models import ArcAssignment, Table
from shopfloor.runs.arcs import arcs_between, arcs_in_range, from_us, to_us
from shopfloor.runs.matching import Cluster, clusters
from shopfloor.runs.program_names import programs_of
from shopfloor.runs.suggested import Stretch, Suggestion, suggestions_of
from shopfloor.site.queries import the_shop


@dataclass(frozen=True, slots=True)
class Unassigned:
    table: str
    torch: str
    start: datetime
    end: datetime
    arcs: int
    arc_s: float
    keys: tuple[str, ...]
    suggestions: tuple[Suggestion, ...]
    programs: tuple[str, ...] = ()  # what the table said it ran, by any of its sources


@dataclass(frozen=True, slots=True)
class Orphan:
    """What a person said of an arc that intake no longer has."""

    arc_key: str
    run: UUID | None
    by: str
    why: str


def unassigned_clusters(
    table: Table, start: datetime, end: datetime, *, holding: str = ""
) -> list[Unassigned]:
    """Stretches of arcs that began in [start, end) and that neither matching nor a person gave
    to anything, oldest first; only the one that holds an arc, where its key is given."""
    arcs = arcs_between(table, to_us(start), to_us(end))
    keys = [arc.key for arc in arcs]
    held: set[str] = set()
    for index in range(0, len(keys), 500):
        rows = ArcAssignment.objects.filter(arc_key__in=keys[index : index + 500])
        held.update(rows.values_list("arc_key", flat=True))
    loose = [arc for arc in arcs if arc.key not in held]
    found = clusters(loose, gap_us=the_shop().run_gap_s * 1_000_000)
    found = [one for one in found if not holding or holding in one.keys]
    kept = {key for one in found for key in one.keys}
    said = programs_of(table, [arc for arc in loose if arc.key in kept])
    suggested = suggestions_of([_stretch(table, one, _programs(one, said)) for one in found])
    return [
        Unassigned(
            table=table.code,
            torch=cluster.torch,
            start=from_us(cluster.start_us),
            end=from_us(cluster.end_us),
            arcs=len(cluster.keys),
            arc_s=cluster.arc_s,
            keys=cluster.keys,
            suggestions=suggestions,
            programs=_programs(cluster, said),
        )
        for cluster, suggestions in zip(found, suggested, strict=True)
    ]


def suggestions_for(
    table: Table, cluster: Cluster, programs: tuple[str, ...]
) -> tuple[Suggestion, ...]:
    """What these arcs may have been, the likeliest first; `programs` are names the table said."""
    return suggestions_of([_stretch(table, cluster, programs)])[0]


def _stretch(table: Table, cluster: Cluster, programs: tuple[str, ...]) -> Stretch:
    start, end = from_us(cluster.start_us), from_us(cluster.end_us)
    return Stretch(table.pk, start, end, len(cluster.keys), programs)


def assignments_without_arc() -> list[Orphan]:
    """Kept because a person said so, though no such arc is there (any more)."""
    rows = list(
        ArcAssignment.objects.exclude(by=None).select_related("by", "segment").order_by("arc_key")
    )
    there = arcs_in_range(row.arc_key for row in rows)
    return [
        Orphan(
            row.arc_key,
            row.segment.run_id if row.segment else None,
            row.by.get_username() if row.by else "",
            row.why,
        )
        for row in rows
        if row.arc_key not in there
    ]


def _programs(cluster: Cluster, said: dict[str, str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(said[key] for key in cluster.keys if key in said))
