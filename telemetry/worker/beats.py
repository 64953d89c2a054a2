"""What the worker says of its feeds every two seconds, in one transaction for all of them."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from telemetry.clockwatch import as_of_now
from telemetry.journal.writer import clock_us
from telemetry.models import Alarm
from telemetry.store.healths import save_healths
from telemetry.worker.clocks import clock_alarm
from telemetry.worker.runner import Runner
from telemetry.worker.trouble import AWAY

log = logging.getLogger("telemetry.worker")

FAULT, STUCK = "journal fault", "source stuck"


def beat(runners: Sequence[Runner], link: str = "") -> None:
    """Says what is known of the feeds now, and raises or clears their alarms. `link` in place of
    how each stands. Raises the database's error, and says the same again next time."""
    if not runners:
        return
    for runner in runners:
        if runner.ready:
            runner.jumps += runner.storing.watch.jumps()
    try:
        _beat(runners, link)
    except AWAY:
        raise
    except Exception:  # a feed's row that is gone, say: the others live all the same
        for runner in runners:
            try:
                _beat([runner], link)
            except AWAY:
                raise
            except Exception as error:
                log.warning("%s: how it is cannot be said: %s", runner.feed.name, error)


def _beat(runners: Sequence[Runner], link: str) -> None:
    now = clock_us()
    with transaction.atomic():
        _healths(runners, link, now)
        for runner in runners:
            for jump in runner.jumps:
                clock_alarm(runner.feed, jump)
            for damage in runner.damages:
                Alarm.objects.get_or_create(
                    feed=runner.feed, code="journal damaged", message=str(damage),
                    defaults={"at_us": now[0]},
                )  # fmt: skip
        _faults(runners, now[0])
    for runner in runners:
        runner.jumps, runner.damages = [], []


def _said(runner: Runner, link: str, now: tuple[int, int]) -> list[Any]:
    """Instants as the host's clock would have them now, should it have been set since."""
    trouble = runner.trouble
    message = (runner.journal_fault or trouble.words or runner.message)[:300]
    heard = None if runner.last_byte is None else as_of_now(runner.last_byte, now)
    since = (trouble.since_us, trouble.since_mono_us) if trouble else runner.since
    state = "failed" if trouble else runner.link
    return [link or state, message, as_of_now(since, now), now[0], heard]


def _healths(runners: Sequence[Runner], link: str, now: tuple[int, int]) -> None:
    """A feed's lag is left as it is while too little was heard since."""
    plain: list[list[Any]] = []
    timed: list[list[Any]] = []
    for runner in runners:
        lag = _lag(runner)
        said = _said(runner, link, now)
        (timed if lag else plain).append([runner.feed.pk, *said, *(lag or (None, None, 0))])
    save_healths(plain)
    save_healths(timed, lag=True)


def _lag(runner: Runner) -> tuple[int, int, int] | None:
    """How far the source's clock is off: median, spread, and of how many lines."""
    found = runner.storing.watch.estimate() if runner.ready else None
    return None if found is None else (found.median_us, found.spread_us, found.n)


def _faults(runners: Sequence[Runner], now_us: int) -> None:
    feeds = [runner.feed for runner in runners]
    rows = Alarm.objects.filter(feed__in=feeds, code__in=[FAULT, STUCK], cleared_us=None)
    standing = {(feed, code): pk for feed, code, pk in rows.values_list("feed_id", "code", "pk")}
    over = []
    for runner in runners:
        for code, fault in ((FAULT, runner.journal_fault), (STUCK, runner.trouble.reason)):
            stands = (runner.feed.pk, code) in standing
            if stands and not fault:
                over.append(standing[runner.feed.pk, code])
            elif fault and not stands:
                Alarm.objects.create(feed=runner.feed, code=code, message=fault[:300], at_us=now_us)
    if over:
        Alarm.objects.filter(pk__in=over).update(cleared_us=now_us)
