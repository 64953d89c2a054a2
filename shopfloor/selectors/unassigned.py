"""Arcs that no run holds, in stretches of work, with what they might have been."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Count

from shopfloor.matching import Cluster, clusters
from shopfloor.models import ArcAssignment, NestRevision, QueueItem, Run, RunState, Table
from shopfloor.selectors.arcs import arcs_between, arcs_there, from_us, to_us
from shopfloor.selectors.programs import programs_of
from shopfloor.selectors.shop import the_shop

MOST = 5
AROUND = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A run, or a nest that was not started, these arcs may belong to. By time and count only: the
    lengths of the arcs may know better."""

    run: UUID | None
    nest: str
    revision_id: int
    contours: int
    why: str


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


def unassigned_clusters(table: Table, start: datetime, end: datetime) -> list[Unassigned]:
    """Stretches of arcs that began in [start, end) and that neither matching nor a person gave
    to anything, oldest first."""
    arcs = arcs_between(table, to_us(start), to_us(end))
    keys = [arc.key for arc in arcs]
    held: set[str] = set()
    for index in range(0, len(keys), 500):
        rows = ArcAssignment.objects.filter(arc_key__in=keys[index : index + 500])
        held.update(rows.values_list("arc_key", flat=True))
    loose = [arc for arc in arcs if arc.key not in held]
    said = programs_of(table, loose)
    return [
        Unassigned(
            table=table.code,
            torch=cluster.torch,
            start=from_us(cluster.start_us),
            end=from_us(cluster.end_us),
            arcs=len(cluster.keys),
            arc_s=cluster.arc_s,
            keys=cluster.keys,
            suggestions=suggestions_for(table, cluster, _programs(cluster, said)),
            programs=_programs(cluster, said),
        )
        for cluster in clusters(loose, gap_us=the_shop().run_gap_s * 1_000_000)
    ]


def suggestions_for(
    table: Table, cluster: Cluster, programs: tuple[str, ...]
) -> tuple[Suggestion, ...]:
    """What these arcs may have been, the likeliest first; `programs` are names the table said."""
    return tuple(_named_first(_suggestions(table, cluster), programs))


def assignments_without_arc() -> list[Orphan]:
    """Kept because a person said so, though no such arc is there (any more)."""
    rows = list(
        ArcAssignment.objects.exclude(by=None).select_related("by", "segment").order_by("arc_key")
    )
    there = arcs_there(row.arc_key for row in rows)
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


def _named_first(found: list[Suggestion], programs: tuple[str, ...]) -> list[Suggestion]:
    """Nests whose program the table named come before the others, and say so."""
    stems = {_stem(program) for program in programs}
    files = dict(
        NestRevision.objects.filter(pk__in=[one.revision_id for one in found]).values_list(
            "pk", "file_name"
        )
    )
    named = [
        replace(one, why=f"its program was loaded; {one.why}")
        for one in found
        if {_stem(one.nest), _stem(files.get(one.revision_id, ""))} & stems
    ]
    rest = {one.revision_id for one in named}
    return named + [one for one in found if one.revision_id not in rest]


def _stem(name: str) -> str:
    """A program's name without folder and ending, as controllers differ in what they say."""
    last = name.replace("\\", "/").rpartition("/")[2].strip()
    return last.rsplit(".", 1)[0].casefold()


def _suggestions(table: Table, cluster: Cluster) -> list[Suggestion]:
    """Runs open or just ended around that time first, then queued nests; of each the one whose
    contours are nearest in number."""
    start, end = from_us(cluster.start_us), from_us(cluster.end_us)
    near = (
        Run.objects.filter(table=table, opened_at__lt=end)
        .exclude(state=RunState.VOIDED)
        .select_related("revision__nest")
        .order_by("-opened_at")[:MOST]
    )
    count = len(cluster.keys)
    found = []
    for run in near:
        missing = (
            run.revision.contours.count()
            - ArcAssignment.objects.filter(segment__run=run, repeat=False).count()
        )
        over = run.closed_at is not None and run.closed_at < start
        if missing > 0 and not over:
            found.append(
                Suggestion(
                    run.pk,
                    run.revision.nest.name,
                    run.revision_id,
                    missing,
                    f"was {run.state} then, {missing} of its contours have no arc",
                )
            )
    found.sort(key=lambda one: abs(one.contours - count))
    return (found + _nests(table, count, start, end))[:MOST]


def _nests(table: Table, count: int, start: datetime, end: datetime) -> list[Suggestion]:
    """Nests that were not started, nearest in number first: what is burnt on the table around
    that time is often burnt once more, and what waits may have been taken early."""
    found = {one.revision_id: one for one in _waiting(table)}
    found |= {one.revision_id: one for one in _around(table, start, end)}
    return sorted(found.values(), key=lambda one: abs(one.contours - count))


def _around(table: Table, start: datetime, end: datetime) -> list[Suggestion]:
    revisions = (
        NestRevision.objects.filter(
            runs__table=table, runs__opened_at__gt=start - AROUND, runs__opened_at__lt=end + AROUND
        )
        .select_related("nest")
        .annotate(count=Count("contours", distinct=True))
        .distinct()
        .defer("program")
    )
    return [
        Suggestion(None, one.nest.name, one.pk, one.count, f"burnt that day, {one.count} contours")
        for one in revisions[:20]
    ]


def _waiting(table: Table) -> list[Suggestion]:
    items = QueueItem.objects.filter(table=table, state="waiting").select_related("nest")
    found = []
    for item in items.order_by("position")[:20]:
        revision = NestRevision.objects.filter(nest=item.nest).order_by("-revision").first()
        if revision is not None:
            contours = revision.contours.count()
            found.append(
                Suggestion(
                    None,
                    item.nest.name,
                    revision.pk,
                    contours,
                    f"in the queue, {contours} contours",
                )
            )
    return found
