"""What the worker says of its feeds every two seconds, in one transaction for all of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import transaction

from telemetry.journal.writer import clock_us
from telemetry.models import Alarm, Health
from telemetry.worker.clocks import clock_alarm
from telemetry.worker.runner import Runner

_SAID = ["link", "message", "since_us", "beat_us", "last_byte_us"]
_LAG = ["lag_us", "lag_spread_us", "lag_lines"]
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
    plain: list[Health] = []
    timed: list[Health] = []
    for runner in runners:
        lag = _lag(runner)
        row = Health(
            feed=runner.feed,
            link=link or runner.link,
            message=(runner.journal_fault or runner.stuck or runner.message)[:300],
            since_us=runner.since_us,
            beat_us=now_us,
            last_byte_us=runner.last_byte_us,
            **lag,
        )
        (timed if lag else plain).append(row)
    for rows, fields in ((plain, _SAID), (timed, _SAID + _LAG)):
        Health.objects.bulk_create(
            rows, update_conflicts=True, unique_fields=["feed"], update_fields=fields
        )


def _lag(runner: Runner) -> dict[str, Any]:
    """How far the source's clock is off."""
    found = runner.storing.watch.estimate()
    if found is None:
        return {}
    return {
        "lag_us": found.median_us,
        "lag_spread_us": found.spread_us,
        "lag_lines": found.n,
    }


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
