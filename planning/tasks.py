"""The worker's tasks: one that does a row of work, one that shares out a transaction's rows, one
that sends what is not done again, one that looks for plans and reports grown old,
one that keeps what is said of the ends of shifts and scores it, one that looks for what wants a
hand, one that draws the promises where a record changed, one that has the records verified and the
database's statistics made anew each night, one that looks whether a backup is due."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from planning.services.factor_summary import factors_freshen
from planning.services.failures import failures_freshen
from planning.services.freshness import request_stale_plans
from planning.services.lives import lives_freshen
from planning.services.notes import notes_due
from planning.services.promises import promises_say, promises_score
from planning.services.promises_kept import promises_due
from planning.services.replays import replays_wanted
from planning.services.statements import statements_sweep
from planning.services.summaries import months_freshen
from planning.services.table_time import tables_freshen
from planning.services.verification import verification_nightly
from planning.services.work import resend_waiting, run_work, works_wake
from shopfloor.background.statistics import statistics_update
from shopfloor.backup.services import backups_due
from shopfloor.library.recognise import parts_missing
from shopfloor.nests.reread import nests_read_before


@shared_task(name="kerfbook.work")
def work(work_id: int) -> None:
    run_work(work_id=work_id)


@shared_task(name="kerfbook.wake")
def wake(ids: list[int]) -> None:
    """The rows of one transaction, shared out here rather than by the person who waits."""
    works_wake(ids=ids)


@shared_task(name="kerfbook.sweep")
def sweep() -> None:
    resend_waiting()


@shared_task(name="kerfbook.freshen")
def freshen() -> None:
    request_stale_plans(now=timezone.now())
    months_freshen()
    lives_freshen()
    nests_read_before()
    parts_missing()
    factors_freshen(now=timezone.now())
    failures_freshen(now=timezone.now())
    tables_freshen(now=timezone.now())
    promises_score(now=timezone.now())
    promises_say(now=timezone.now())
    replays_wanted(now=timezone.now())


@shared_task(name="kerfbook.statements")
def statements() -> None:
    statements_sweep(now=timezone.now())


@shared_task(name="kerfbook.notes")
def notes() -> None:
    notes_due(now=timezone.now())


@shared_task(name="kerfbook.promises")
def promises() -> None:
    promises_due(now=timezone.now())


@shared_task(name="kerfbook.verify")
def verify() -> None:
    if verification_nightly(now=timezone.now()):
        statistics_update()


@shared_task(name="kerfbook.backup")
def backup() -> None:
    backups_due(now=timezone.now())
