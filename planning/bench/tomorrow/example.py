"""`python -m planning.bench.tomorrow.example EVERY`: the past of the shop in the configured
database, replayed at every so many shifts."""

from __future__ import annotations

import json
import sys
from datetime import timedelta
from typing import Any

import django

FIRST = 24  # shifts that are only learned from


def run(every: int) -> dict[str, Any]:
    from django.utils import timezone

    from planning.bench.tomorrow.replay import replay
    from planning.bench.tomorrow.tables import summed
    from planning.calc.ahead.past_list import shift_spans
    from planning.inputs.stored_time import typical_of
    from planning.inputs.table_time import table_books
    from shopfloor.models import Run, Table

    now = timezone.now()
    tables = list(Table.objects.order_by("order", "pk"))
    first = Run.objects.earliest("opened_at").opened_at
    books = table_books(tables, first, now, now + timedelta(days=14))
    last = max(run.opened for book in books.values() for run in book.runs)
    found = []
    for table in tables:  # each by itself, as fits are kept
        book = books[table.pk]
        starts, ends = shift_spans(book)
        shifts = [at for at in range(FIRST, len(starts), every) if ends[at] < last]
        found.append(replay([book], shifts, typical_of(table), 1))
    return {**summed(found), "jobs": promised_jobs(max(every // 2, 1))}


def promised_jobs(every: int) -> dict[str, Any]:
    """The promises of every so many mornings, made by the program's own replay."""
    from django.utils import timezone

    from planning.bench.tomorrow.promised import Told
    from planning.bench.tomorrow.promised import summed as summed_jobs
    from planning.inputs.past_work import PastWork
    from planning.services.promises import done_at
    from planning.services.replays import DAYS, SETTLED, replay_day
    from shopfloor.models import Job, Statement, StatementKind

    now = timezone.now()
    past = PastWork(now - DAYS, now)
    ends = done_at(Job.objects.values_list("pk", flat=True))
    for place in range(1, (DAYS - SETTLED).days, every):
        replay_day(past, (past.start + timedelta(days=place)).date(), ends)
    rows = Statement.objects.filter(kind=StatementKind.PROMISE, replayed=True)
    return summed_jobs(
        [
            Told(
                float(chance or 0.0), bool(outcome),
                tuple((said, done) for said, done in rests_on["by_day"]),
                tuple(rests_on["held"]),
            )
            for chance, outcome, rests_on in rows.values_list("chance", "outcome", "rests_on")
        ]
    )  # fmt: skip


if __name__ == "__main__":
    django.setup()
    json.dump(run(int(sys.argv[1])), sys.stdout)
