"""Promises on record: what was said of each open job, once a day, and what came of it. Said each
day whether somebody looks or not, so that the score is not of the days on which somebody did."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import CharField, Count, Exists, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Cast

from planning.calc.ahead.keep import MODEL
from planning.inputs.arcs import last_arcs
from planning.inputs.open_work import LONGEST_RUN
from planning.reports.promise import Board, JobPromise, board
from shopfloor.models import (
    Contour,
    Job,
    JobLine,
    JobState,
    Nest,
    PartResult,
    Run,
    RunState,
    Statement,
    StatementKind,
    Summary,
)
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.site.queries import shop_zone

DRAWN: Final = "promises"  # the last day they were drawn on, whether any had a chance or not
MOVED: Final = "due_moved"  # why one is void: its job was given another due date
FROM_HOUR: Final = 5  # on the shop's clock: before that yesterday is still worked at
AT_ONCE: Final = 500
LATE: Final = timedelta(hours=12)  # a tablet may be without a connection for a shift: assumed


def promises_say(*, now: datetime) -> int:
    """Keeps today's promise of every open job that has a chance and is not due yet; returns how
    many. Harmless to repeat."""
    local = now.astimezone(ZoneInfo(shop_zone()))
    slot = local.date().isoformat()
    drawn = Summary.objects.filter(kind=DRAWN, key=slot)
    due = Job.objects.filter(state=JobState.OPEN, due_at__gt=now)
    if local.hour < FROM_HOUR or drawn.exists() or not due.exists():
        return 0
    shown = board(now)
    rows = [
        _statement(shown, job, slot)
        for job in shown.jobs
        if job.chance is not None and job.due_at is not None and job.due_at > now
    ]
    with transaction.atomic():
        Statement.objects.bulk_create(rows, ignore_conflicts=True)
        Summary.objects.filter(kind=DRAWN).exclude(key=slot).delete()
        Summary.objects.get_or_create(kind=DRAWN, key=slot, defaults={"computed_at": now})
    return len(rows)


def _statement(shown: Board, job: JobPromise, slot: str) -> Statement:
    sheets = [
        (one.key, sheet.key)
        for one in shown.work.tables
        for sheet in one.sheets
        if job.pk in sheet.jobs
    ]
    tables = {key for key, _sheet in sheets}
    fits = [shown.work.stored[key] for key in sorted(tables)]
    return Statement(
        kind=StatementKind.PROMISE,
        subject=str(job.pk),
        slot=slot,
        made_at=shown.work.now,
        due_at=job.due_at,
        model=MODEL,
        seed=min((fit.seed for fit in fits), default=0),
        cut_off=min((fit.cut_off for fit in fits if fit.cut_off), default=None),
        list_hash=hashlib.sha256(repr(sheets).encode()).hexdigest(),
        rests_on={
            "sheets": job.sheets,
            "hours": round(job.hours, 3),
            "tables": sorted(tables),
            "days": [None if day is None else day.timestamp() for day in job.days],
        },
        chance=job.chance,
    )


def promises_score(*, now: datetime) -> int:
    """Scores those whose truth is in: the job is done, or its due date passed without and what was
    entered late has come in too. Returns how many were settled. Voided where the due date was
    moved, or the job is gone or on hold."""
    open_rows = Statement.objects.filter(kind=StatementKind.PROMISE, scored_at=None, voided="")
    due = open_rows.filter(Q(due_at__lte=now - LATE) | ~Exists(_waits_for(now)))
    rows = list(due.order_by("made_at", "pk")[:AT_ONCE])
    jobs = {job.pk: job for job in Job.objects.filter(pk__in=[int(one.subject) for one in rows])}
    ends = done_at(jobs)
    settled = [one for one in rows if _settle(one, jobs.get(int(one.subject)), ends, now)]
    fields = ["outcome", "crps", "scored_at", "voided", "rests_on"]
    Statement.objects.bulk_update(settled, fields)
    return len(settled)


def _waits_for(now: datetime) -> QuerySet[Job]:
    """The job of a promise that is not due yet, or was a moment ago, as long as nothing settles
    it."""
    going = Job.objects.exclude(state__in=(JobState.HELD, JobState.CLOSED))
    ahead = going.filter(due_at__gt=now - LATE).values_list("pk", flat=True)
    named = going.exclude(pk__in=list(done_at(ahead))).annotate(name=Cast("pk", CharField()))
    return named.filter(name=OuterRef("subject"), due_at=OuterRef("due_at"))


def _settle(said: Statement, job: Job | None, ends: dict[int, datetime], now: datetime) -> bool:
    """Writes what came of one; False where that is not known yet."""
    if job is None or job.due_at != said.due_at:
        said.voided = MOVED if job else "job_gone"
    elif job.state == JobState.HELD:
        said.voided = "job_held"
    elif job.pk not in ends and job.state == JobState.CLOSED:
        said.voided = "closed_owing"
    elif job.pk not in ends and (said.due_at is None or now <= said.due_at + LATE):
        return False
    if said.voided:
        said.scored_at = now
        return True
    judge(said, ends.get(job.pk) if job else None, now, said.due_at or now)
    return True


def judge(said: Statement, done: datetime | None, now: datetime, sure: datetime) -> None:
    """Writes what came of a promise whose job was done then, or is not yet. "held" says of each day
    that could be promised whether it was kept; None of days after `sure`, up to which that is
    known of every job: else later days would count only where the job was done."""
    said.outcome = float(done is not None and said.due_at is not None and done <= said.due_at)
    said.crps = (float(said.chance or 0.0) - said.outcome) ** 2
    said.scored_at = now
    until = sure.timestamp()
    said.rests_on["held"] = [
        None if day is None or day > until else done is not None and done.timestamp() <= day
        for day in said.rests_on.get("days", ())
    ]


def done_at(jobs: Iterable[int]) -> dict[int, datetime]:
    """When the last arc of its last run went out (not measured: when the run was closed), of each
    job that owes nothing more or was closed with every sheet of its nests burnt: parts a customer
    did without do not keep it from being done. Promises are drawn to the last arc too."""
    ids = list(jobs)
    good = dict(
        PartResult.objects.filter(line__job__in=ids, outcome="good")
        .order_by()
        .values_list("line")
        .annotate(all=Sum("quantity"))
    )
    lines = list(JobLine.objects.filter(job__in=ids).values_list("pk", "job", "quantity"))
    owing = {job for line, job, quantity in lines if good.get(line, 0) < quantity}
    owing -= _burnt(owing)
    done = [job for job in ids if job not in owing and any(own == job for _l, own, _q in lines)]
    runs = Run.objects.filter(results__line__job__in=done).exclude(closed_at=None)
    rows = runs.order_by("closed_at").values_list("results__line__job", "pk", "closed_at")
    last = {job: (run, at) for job, run, at in rows.distinct() if job and at}
    if not last:
        return {}
    ends = [at for _run, at in last.values()]
    span = (to_us(min(ends) - LONGEST_RUN), to_us(max(ends)))
    arcs = last_arcs({run for run, _at in last.values()}, span)
    return {
        job: from_us(round(arcs[run] * 1e6)) if run in arcs else at
        for job, (run, at) in last.items()
    }


def _burnt(owing: Iterable[int]) -> set[int]:
    """Of these jobs the closed ones whose nests have every sheet burnt."""
    closed = Job.objects.filter(pk__in=list(owing), state=JobState.CLOSED)
    pairs = set(
        Contour.objects.filter(line__job__in=list(closed.values_list("pk", flat=True)))
        .order_by()
        .values_list("line__job", "revision__nest")
    )
    nests = {nest for _job, nest in pairs}
    wanted = dict(Nest.objects.filter(pk__in=nests).values_list("pk", "sheets_wanted"))
    runs = Run.objects.filter(revision__nest__in=nests, state=RunState.FINISHED)
    burnt = dict(runs.order_by().values_list("revision__nest").annotate(many=Count("pk")))
    short = {job for job, nest in pairs if burnt.get(nest, 0) < wanted[nest]}
    return {job for job, _nest in pairs} - short
