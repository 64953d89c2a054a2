"""Runs, their segments, the arcs tied to them, and the parts they gave."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import connection
from django.db.models import Count, F, Max, Q, QuerySet, Sum

from shopfloor.models import ArcAssignment, Contour, PartResult, Run, RunState, Segment
from telemetry.models import GoneArc
from telemetry.said import plural, said, said_of_many
from telemetry.verify.findings import SHOWN, Finding, listed

_ENDED = (RunState.FINISHED, RunState.VOIDED)
_PAGE = 1_000
MATCHED = plural(
    "{number} arc that was matched to a run is not stored: {keys}.",
    "{number} arcs that were matched to runs are not stored: {keys}.",
)
BY_HAND = plural(
    "{number} arc that was given to a run by hand is not stored: {keys}.",
    "{number} arcs that were given to runs by hand are not stored: {keys}.",
)
RUNS = {
    "backwards": plural(
        "{number} run ended before it began: {runs}.",
        "{number} runs ended before they began: {runs}.",
    ),
    "no end": plural(
        "{number} run is over without an end: {runs}.",
        "{number} runs are over without an end: {runs}.",
    ),
    "not over": plural(
        "{number} run has an end and is not over: {runs}.",
        "{number} runs have an end and are not over: {runs}.",
    ),
    "segment goes on": plural(
        "{number} run is over, but a segment of it goes on: {runs}.",
        "{number} runs are over, but a segment of them goes on: {runs}.",
    ),
}
SEGMENTS = plural(
    "{number} segment of a run ends before it begins: {runs}.",
    "{number} segments of runs end before they begin: {runs}.",
)
TOO_MANY = plural(
    "{number} run gave more parts of a line than its program cuts: {runs}.",
    "{number} runs gave more parts of a line than their program cuts: {runs}.",
)
BELOW_ZERO = plural(
    "{number} run has parts of a line below zero: {runs}.",
    "{number} runs have parts of a line below zero: {runs}.",
)


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
    for keys, words in ((by_matching, MATCHED), (by_person, BY_HAND)):
        if keys:
            text = said_of_many(*words, len(keys), keys=listed(keys, len(keys)))
            yield Finding("assignments without an arc", "assignments", text)
    if waiting:
        text = said_of_many(
            "{number} arc tied to a run is no arc any more since a source's description or late "
            "lines changed it; what was said of it is kept.",
            "{number} arcs tied to runs are no arcs any more since a source's description or late "
            "lines changed them; what was said of them is kept.",
            waiting,
        )
        yield Finding("assignments waiting", "assignments", text, fault=False)


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
    rules: list[tuple[tuple[str, str], QuerySet[Any]]] = [
        (RUNS["backwards"], Run.objects.filter(closed_at__lt=F("opened_at"))),
        (RUNS["no end"], Run.objects.filter(ended, closed_at=None)),
        (RUNS["not over"], Run.objects.filter(~ended).exclude(closed_at=None)),
        (RUNS["segment goes on"],
         Run.objects.filter(ended, segments__ended_at=None, segments__isnull=False).distinct()),
    ]  # fmt: skip
    for words, rows in rules:
        yield from _told("runs inconsistent", "runs", words, rows)
    backwards = Segment.objects.filter(ended_at__lt=F("started_at"))
    yield from _told("segments inconsistent", "segments", SEGMENTS, backwards)
    twice = (
        Segment.objects.filter(ended_at=None)
        .order_by()
        .values("torch__table__name", "torch__code")
        .annotate(n=Count("pk"))
        .filter(n__gt=1)
    )
    for row in twice:
        text = said(
            "{number} segments go on at once on {table}, torch {torch}.",
            number=row["n"],
            table=row["torch__table__name"],
            torch=row["torch__code"],
        )
        yield Finding("segments inconsistent", "segments", text)


def _told(what: str, where: str, words: tuple[str, str], rows: QuerySet[Any]) -> Iterator[Finding]:
    count = rows.count()
    if count:
        examples = [str(row) for row in rows[:SHOWN]]
        yield Finding(what, where, said_of_many(*words, count, runs=listed(examples, count)))


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
        run, job = str(row["run"])[:8], row["line__job__number"]
        parts, most = row["parts"], copies[key]
        if parts < 0:
            below.append(said("run {run} of job {job}: {parts}", run=run, job=job, parts=parts))
        elif most and parts > most:
            too_many.append(
                said(
                    "run {run} of job {job}: {parts} of {most}",
                    run=run,
                    job=job,
                    parts=parts,
                    most=most,
                )
            )
    if too_many:
        text = said_of_many(*TOO_MANY, len(too_many), runs=listed(too_many, len(too_many)))
        yield Finding("too many parts", "parts", text)
    if below:
        text = said_of_many(*BELOW_ZERO, len(below), runs=listed(below, len(below)))
        yield Finding("parts below zero", "parts", text)


def _copies(revision: int, line: int) -> int:
    contours = Contour.objects.filter(revision=revision, line=line).order_by()
    made = contours.values("part", "copy").annotate(made=Max("parts"))
    return sum(each["made"] for each in made)
