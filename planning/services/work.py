"""Doing background work: claim a row, run what its kind names, mark it. A row whose worker died
is claimed again after `STALE`; a row that keeps failing is set aside with its error in view."""

from __future__ import annotations

import importlib
import logging
import traceback
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.utils import timezone

from shopfloor.audit.actor import acting
from shopfloor.background.waking import wake
from shopfloor.models import Work

log = logging.getLogger(__name__)
STALE = timedelta(minutes=15)
AHEAD = timedelta(minutes=1)
MAX_ATTEMPTS = 5

# kind -> "module:function"; the function takes key and payload, and must be idempotent
KINDS: dict[str, str] = {
    "nest": "planning.services.nest_plan:nest_plan",
    "drawing": "planning.services.drawing_plan:drawing_plan",
    "run": "planning.services.run_figures:run_figures",
    "piece": "planning.services.piece_figures:piece_figures",
    "life": "planning.services.lives:life_write",
    "failures": "planning.services.failures:failures_write",
    "line": "planning.services.line_figures:line_figures",
    "factors": "planning.services.factor_summary:factors_write",
    "replay": "planning.services.replays:replay_days",
    "table_time": "planning.services.table_time:table_time_write",
    "month": "planning.services.summaries:month_write",
    "rate": "planning.services.rate_apply:rate_apply",
    "sheet": "planning.services.sheet_loss:sheet_loss",
    "recount": "shopfloor.sources.count:table_recount",
    "parts": "shopfloor.library.recognise:parts_recognise",
    "reread": "shopfloor.nests.reread:table_reread",
    "verify": "planning.services.verification:verification_launch",
    "backup": "shopfloor.backup.services:backup_begin",
    "incoming": "shopfloor.nests.long_files:incoming_take",
}


def run_work(*, work_id: int) -> bool:
    """Does one row. False where another worker has it or it is done. A failure is stored with
    its trace and the row waits for the sweep, at most `MAX_ATTEMPTS` times."""
    now = timezone.now()
    claimable = Q(state="waiting") | _left(now)
    claimed = Work.objects.filter(claimable, pk=work_id).update(
        state="running", started_at=now, attempts=F("attempts") + 1
    )
    if not claimed:
        return False
    work = Work.objects.get(pk=work_id)
    try:
        module, _, name = KINDS[work.kind].partition(":")
        with acting("planning", why=f"{work.kind} {work.key}"):
            getattr(importlib.import_module(module), name)(key=work.key, payload=work.payload)
    except Exception:
        _failed(work, traceback.format_exc())
        log.exception("work %s %s failed", work.kind, work.key)
        return True
    Work.objects.filter(pk=work_id, state="running").update(
        state="done", done_at=timezone.now(), error=""
    )
    return True


def run_all_waiting(*, limit: int = 10_000) -> int:
    """Does everything that waits, in this process. For tests and for commands that need the
    result before they end. Returns how many rows were done."""
    done = 0
    while done < limit:
        work_id = (
            Work.objects.filter(state="waiting", attempts__lt=MAX_ATTEMPTS)
            .order_by("wanted_at", "pk")
            .values_list("pk", flat=True)
            .first()
        )
        if work_id is None:
            return done
        run_work(work_id=work_id)
        done += 1
    return done


def resend_waiting() -> int:
    """Sends again what waits or was left running by a worker that died. Returns how many."""
    now = timezone.now()
    lost = Q(state="waiting", attempts__lt=MAX_ATTEMPTS) | _left(now)
    ids = list(Work.objects.filter(lost).order_by("wanted_at").values_list("pk", flat=True)[:500])
    works_wake(ids=ids)
    Work.objects.filter(state="done", done_at__lt=now - timedelta(days=7)).delete()
    return len(ids)


def works_wake(*, ids: list[int]) -> None:
    """A message a row, so that several workers share them."""
    for work_id in ids:
        if not wake([work_id]):
            return


def _left(now: datetime) -> Q:
    """Rows that run for too long: their worker died. So it did where the clock has been set back
    since they began, or else they are done twice, which is harmless."""
    begun = Q(started_at__lt=now - STALE) | Q(started_at__gt=now + AHEAD)
    return Q(state="running") & begun


def _failed(work: Work, trace: str) -> None:
    spent = work.attempts >= MAX_ATTEMPTS
    try:
        with transaction.atomic():
            Work.objects.filter(pk=work.pk).update(
                state="failed" if spent else "waiting", error=trace[-4000:]
            )
    except IntegrityError:  # the same work was wanted again meanwhile: that row takes over
        Work.objects.filter(pk=work.pk).update(state="failed", error=trace[-4000:])
