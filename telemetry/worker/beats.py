"""What the worker says of its feeds every two seconds, in one transaction for all of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from telemetry.journal.writer import clock_us
from telemetry.models import Alarm
from telemetry.store.healths import save_healths
from telemetry.worker.clocks import clock_alarm
from telemetry.worker.runner import Runner

_FAULT, _STUCK = "journal fault", "decoding stuck"


def beat(runners: Sequence[Runner], link: str = "") -> None:
    """Says what is known of the feeds now, and raises or clears their alarms. `link` in place of
    how each stands. Raises the database's error, and says the same again next time."""
    if not runners:
        return
    now_us = clock_us()[0]
    for runner in runners:
        runner.jumps += runner.storing.watch.jumps()
    with transaction.atomic():
        _healths(runners, link, now_us)
        for runner in runners:
            for jump in runner.jumps:
                clock_alarm(runner.feed, jump)
            for damage in runner.damages:
                Alarm.objects.get_or_create(
                    feed=runner.feed, code="journal damaged", message=str(damage),
                    defaults={"at_us": now_us},
                )  # fmt: skip
        _faults(runners, now_us)
    for runner in runners:
        runner.jumps, runner.damages = [], []


def _healths(runners: Sequence[Runner], link: str, now_us: int) -> None:
    """A feed's lag is left as it is while too little was heard since."""
    plain: list[list[Any]] = []
    timed: list[list[Any]] = []
    for runner in runners:
        lag = _lag(runner)
        message = (runner.journal_fault or runner.stuck or runner.message)[:300]
        said = [link or runner.link, message, runner.since_us, now_us, runner.last_byte_us]
        (timed if lag else plain).append([runner.feed.pk, *said, *(lag or (None, None, 0))])
    save_healths(plain)
    save_healths(timed, lag=True)


def _lag(runner: Runner) -> tuple[int, int, int] | None:
    """How far the source's clock is off: median, spread, and of how many lines."""
    found = runner.storing.watch.estimate()
    return None if found is None else (found.median_us, found.spread_us, found.n)


def _faults(runners: Sequence[Runner], now_us: int) -> None:
    feeds = [runner.feed for runner in runners]
    rows = Alarm.objects.filter(feed__in=feeds, code__in=[_FAULT, _STUCK], cleared_us=None)
    standing = {(feed, code): pk for feed, code, pk in rows.values_list("feed_id", "code", "pk")}
    over = []
    for runner in runners:
        for code, fault in ((_FAULT, runner.journal_fault), (_STUCK, runner.stuck)):
            stands = (runner.feed.pk, code) in standing
            if stands and not fault:
                over.append(standing[runner.feed.pk, code])
            elif fault and not stands:
                Alarm.objects.create(feed=runner.feed, code=code, message=fault[:300], at_us=now_us)
    if over:
        Alarm.objects.filter(pk__in=over).update(cleared_us=now_us)
