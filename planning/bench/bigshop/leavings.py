"""What use leaves in a shop and the example shop does not have: what was pressed at the tables,
places in the queue that are done, papers, refused lines, quotes and factors."""

from __future__ import annotations

import hashlib
import uuid
from datetime import datetime, timedelta
from typing import Any

from planning.services.factors import factor_accept, factor_decline, factors_propose
from planning.services.history import plan_all
from planning.services.quotes import LineAsked, quote_decide, quote_make
from shopfloor.audit.actor import acting
from shopfloor.models import (
    Action,
    Factor,
    Job,
    JobLine,
    JobList,
    Nest,
    Paper,
    QueueItem,
    Run,
    RunState,
    Terminal,
    User,
    Work,
)
from telemetry.models import Feed, Reject

REJECTS_A_TABLE = 12
QUOTES = 16  # fewer than copies.QUOTES_APART
_HOUR_US = 3_600_000_000


def leave(*, now: datetime) -> None:
    """Adds all of it to the small shop in the default database. Once."""
    owner = User.objects.filter(role="owner").order_by("pk")[0]
    with acting("bench", why="a shop in use"):
        _pressed(owner)
        _papers(owner)
        _rejects(now)
        _quotes(owner, now)
        _job_list(owner, now)
        _factors(owner, now)


def _pressed(owner: User) -> None:
    terminals = {terminal.table_id: terminal for terminal in Terminal.objects.all()}
    finished = Run.objects.filter(state=RunState.FINISHED).select_related("revision", "table")
    runs = list(finished.order_by("opened_at"))
    actions: list[Action] = []
    for place, run in enumerate(runs, 1):
        run.queue_item = QueueItem(
            nest_id=run.revision.nest_id, table=run.table, sheet_id=run.sheet_id,
            position=place, state="done",
        )  # fmt: skip
        first = run.segments.order_by("started_at")[0]
        pressed = {"start": run.opened_at, "finish": run.closed_at or run.opened_at}
        actions += [
            Action(
                id=uuid.uuid5(run.pk, kind), kind=kind, terminal=terminals.get(run.table_id),
                payload={"run": str(run.pk), "table": run.table.code},
                person_id=first.operator_id or owner.pk, device_at=at, received_at=at, at=at,
            )
            for kind, at in pressed.items()
        ]  # fmt: skip
    QueueItem.objects.bulk_create(run.queue_item for run in runs if run.queue_item)
    Run.objects.bulk_update(runs, ["queue_item"], batch_size=200)
    Action.objects.bulk_create(actions, batch_size=500)


def _job_list(by: User, now: datetime) -> None:
    made = JobList.objects.create(name="jobs.csv", by=by, at=now)
    newest = JobLine.objects.order_by("-pk").values_list("pk", flat=True)[:20]
    JobLine.objects.filter(pk__in=list(newest)).update(job_list=made)


def _papers(by: User) -> None:
    def paper(number: int, at: datetime, **of: Any) -> Paper:
        said = hashlib.sha256(f"{of} {number}".encode()).hexdigest()
        return Paper(number=number, said_sha256=said, made_at=at, made_by=by, **of)

    first = Run.objects.order_by("opened_at")[0].opened_at
    nests = Nest.objects.exclude(table=None)
    drawn = [paper(1, first, kind="setup", nest=nest, table=nest.table) for nest in nests]
    for job in Job.objects.all():
        drawn += [paper(number, first, kind="traveler", job=job) for number in (1, 2)]
    Paper.objects.bulk_create(drawn)


def _rejects(now: datetime) -> None:
    now_us = round(now.timestamp() * 1_000_000)
    Reject.objects.bulk_create(
        Reject(
            feed=feed, key=f"{(now_us << 76) + number:032x}", source="live", position=number,
            reason="columns", message="3 columns, not 4", raw=b"4711,garbled,ARC",
            received_us=now_us - number * 72 * _HOUR_US, feed_version=feed.version,
        )
        for feed in Feed.objects.all()
        for number in range(1, REJECTS_A_TABLE + 1)
    )  # fmt: skip


def _quotes(by: User, now: datetime) -> None:
    jobs = Job.objects.order_by("pk")
    for number, nest in enumerate(Nest.objects.order_by("pk")[:QUOTES]):
        quote = quote_make(
            customer=jobs[number].customer.name, title=jobs[number].title,
            lines=[LineAsked(nest.pk, 1 + number % 4)], chance=0.2, valid_days=30, by=by,
            now=now - timedelta(days=2 * (QUOTES - number)),
        )  # fmt: skip
        if number % 4:
            quote_decide(
                quote=quote, won=number % 4 == 1, by=by, now=now,
                job_number=jobs[number].number if number % 4 == 1 else "",
            )  # fmt: skip


def _factors(by: User, now: datetime) -> None:
    """One in force, one declined, the rest waiting for an answer; plans made anew with them."""
    factors_propose(now=now)
    proposed = list(Factor.objects.filter(state="proposed").order_by("-runs")[:2])
    if proposed:
        factor_accept(factor=proposed[0], by=by, why="it fits", now=now)
    if proposed[1:]:
        factor_decline(factor=proposed[1], by=by, why="too few", now=now)
    plan_all(now=now)
    Work.objects.filter(state="waiting").delete()
