"""Runs, their segments, the arcs tied to them, and the parts they gave."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import connection
from django.db.models import Count, F, Max, Q, QuerySet, Sum

from shopfloor.models import ArcAssignment, Contour, PartResult, Run, RunState, Segment
from telemetry.models import GoneArc
from telemetry.verify.findings import SHOWN, Finding, listed

_ENDED = (RunState.FINISHED, RunState.VOIDED)
_PAGE = 1_000


def check_assignments() -> Iterator[Finding]:
    """Whatever was tied to a run is an arc that is there."""
    by_matching: list[str] = []
    by_person: list[str] = []
    waiting = 0
    for key, by in _without_arc():
        if GoneArc.objects.filter(key=key).exists():
            waiting += 1  # a changed description made another arc of it; what was said is kept
        else:
            (by_matching if by is None else by_person).append(key)
    for keys, who in ((by_matching, "matched to runs"), (by_person, "given to runs by hand")):
        if keys:
            yield Finding(
                "assignments without an arc", "assignments",
                f"{len(keys)} arcs that were {who} are not stored: {listed(keys, len(keys))}.",
            )  # fmt: skip
    if waiting:
        yield Finding(
            "assignments waiting", "assignments",
            f"{waiting} arcs tied to runs are no arcs any more since a source's description or "
            "late lines changed them; what was said of them is kept.",
            fault=False,
        )  # fmt: skip


def _without_arc() -> Iterator[tuple[str, int | None]]:
    table = ArcAssignment._meta.db_table
    after = 0
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT a.id, a.arc_key, a.by_id FROM {table} a LEFT JOIN telemetry_arc t "
                f"ON t.key = a.arc_key WHERE a.id > %s AND t.id IS NULL ORDER BY a.id "
                f"LIMIT {_PAGE}",
                [after],
            )
            rows = cursor.fetchall()
        for _, key, by in rows:
            yield key, by
        if len(rows) < _PAGE:
            return
        after = rows[-1][0]


def check_runs() -> Iterator[Finding]:
    """Runs and their segments begin before they end, and end together."""
    ended = Q(state__in=_ENDED)
    rules: list[tuple[str, QuerySet[Any]]] = [
        ("ended before they began", Run.objects.filter(closed_at__lt=F("opened_at"))),
        ("are over without an end", Run.objects.filter(ended, closed_at=None)),
        ("have an end and are not over", Run.objects.filter(~ended).exclude(closed_at=None)),
        ("are over, but a segment of them goes on",
         Run.objects.filter(ended, segments__ended_at=None, segments__isnull=False).distinct()),
    ]  # fmt: skip
    for problem, rows in rules:
        yield from _told("runs inconsistent", "runs", "runs", problem, rows)
    backwards = Segment.objects.filter(ended_at__lt=F("started_at"))
    yield from _told(
        "segments inconsistent", "segments", "segments of runs", "end before they begin", backwards
    )
    twice = (
        Segment.objects.filter(ended_at=None)
        .order_by()
        .values("torch__table__name", "torch__code")
        .annotate(n=Count("pk"))
        .filter(n__gt=1)
    )
    for row in twice:
        where = f"{row['torch__table__name']}, torch {row['torch__code']}"
        yield Finding(
            "segments inconsistent", "segments", f"{row['n']} segments go on at once on {where}."
        )


def _told(what: str, where: str, many: str, problem: str, rows: QuerySet[Any]) -> Iterator[Finding]:
    count = rows.count()
    if count:
        examples = [str(row) for row in rows[:SHOWN]]
        yield Finding(what, where, f"{count} {many} {problem}: {listed(examples, count)}.")


def check_parts() -> Iterator[Finding]:
    """A run gives no more parts of a line than its program cuts, and never less than none."""
    judged = (
        PartResult.objects.order_by()
        .values("run", "run__revision", "line", "line__job__number")
        .annotate(parts=Sum("quantity"))
    )
    too_many, below = [], []
    copies: dict[tuple[int, int], int] = {}
    for row in judged.iterator(_PAGE):
        key = (row["run__revision"], row["line"])
        if key not in copies:
            copies[key] = _copies(*key)
        name = f"run {str(row['run'])[:8]} of job {row['line__job__number']}"
        if row["parts"] < 0:
            below.append(f"{name}: {row['parts']}")
        elif copies[key] and row["parts"] > copies[key]:
            too_many.append(f"{name}: {row['parts']} of {copies[key]}")
    if too_many:
        yield Finding(
            "too many parts", "parts",
            f"{len(too_many)} runs gave more parts of a line than their program cuts: "
            f"{listed(too_many, len(too_many))}.",
        )  # fmt: skip
    if below:
        yield Finding(
            "parts below zero", "parts",
            f"{len(below)} runs have parts of a line below zero: {listed(below, len(below))}.",
        )  # fmt: skip


def _copies(revision: int, line: int) -> int:
    contours = Contour.objects.filter(revision=revision, line=line).order_by()
    made = contours.values("part", "copy").annotate(made=Max("parts"))
    return sum(each["made"] for each in made)
