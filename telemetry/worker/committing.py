"""The thread that decodes and commits, and says every two seconds how the sources are."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from django.db import Error as DatabaseError
from django.db import close_old_connections, connection

from telemetry.clockwatch import HostClock
from telemetry.journal.writer import clock_us
from telemetry.worker.beats import beat
from telemetry.worker.clocks import host_clock_alarm
from telemetry.worker.log import log_alarm
from telemetry.worker.pace import COMMIT_S
from telemetry.worker.packing import pack_some
from telemetry.worker.remembered import remember_places
from telemetry.worker.rounds import settle_some, store_together
from telemetry.worker.runner import Runner, StartAnew
from telemetry.worker.trouble import AWAY
from telemetry.worker.unhurried import pass_over_what_is_there

if TYPE_CHECKING:
    from telemetry.worker.turns import Turns

log = logging.getLogger("telemetry.worker")
_BEAT_S = 2.0  # in which something is said of every source
_AT_ONCE = 10  # of them: to say how a hundred are takes as long as to commit their lines
_TIDY_S = 60.0
_SUMS_WAIT_S = 0.25  # longer than that the sums do not stand back behind lines
_RECENT_BYTES = 32 * 1024 * 1024  # of the journals' ends that are kept at hand, in all


class Committing:
    """Paced by the monotonic clock alone: the host's may be set at any time, either way."""

    def __init__(self, runners: Sequence[Runner], turns: Turns, stop: threading.Event) -> None:
        self._runners, self._turns, self._stop = runners, turns, stop
        self._host = HostClock(*clock_us())
        count = max(1, -(-len(runners) // _AT_ONCE))
        self._shares = [runners[n::count] for n in range(count)]
        self._share = 0  # the next of which something is said
        self._said_s = float("-inf")
        self._tidied_s, self._tidies = time.monotonic(), False
        self._summed_s = float("-inf")
        self._away_s = 0.0  # how long the database is given before it is asked again
        self._each_alone = False
        self._anew = False  # a source must be closed and prepared again

    def until(self, changed: Callable[[], bool]) -> None:
        """Commits until told to stop, or until what is to be read is no longer what is read."""
        while not self._stop.is_set():
            news = self._turns.synced.wait(COMMIT_S)
            self._turns.synced.clear()
            try:
                self._store(news)
                if time.monotonic() - self._said_s > _BEAT_S / len(self._shares):
                    self._said_s = time.monotonic()
                    if self._share == 0 and (changed() or self._anew):
                        return
                    self._say()
                self._away_s, self._each_alone = 0.0, False
            except DatabaseError as error:
                # Locked, down or migrating: the journal grows meanwhile and is stored later. If it
                # is one source's doing, that shows where each is stored by itself.
                log.warning("the database does not answer, trying again: %s", error)
                connection.close()
                self._each_alone = True
                self._away_s = min(max(self._away_s * 2, 0.2), 5.0)
                self._stop.wait(self._away_s)
        close_old_connections()

    def _store(self, news: bool) -> None:
        began_s = self._turns.pace.began_s
        self._begin_those_not_ready()
        well = [one for one in self._runners if one.ready and not one.trouble]
        left = well if self._each_alone else store_together(well)
        ill = [one for one in self._runners if one.ready and one.trouble]
        self._store_each([*left, *ill])
        if news:
            self._turns.pace.committed(began_s)
        now_s = time.monotonic()
        if not self._turns.synced.is_set() or now_s - self._summed_s > _SUMS_WAIT_S:
            self._summed_s = now_s
            settle_some([one for one in well if not one.trouble])

    def _begin_those_not_ready(self) -> None:
        """Without the database what is remembered of the sources is enough to read them."""
        waiting = [one for one in self._runners if not one.ready and not one.trouble.rests]
        if not waiting:
            return
        try:
            for runner in waiting:
                self._begin(runner)
        except AWAY:
            for runner in waiting:
                self._begin_without_database(runner)
            raise
        if any(runner.ready for runner in waiting):
            pass_over_what_is_there()

    def _begin(self, runner: Runner) -> None:
        try:
            runner.prepare()
            runner.follow_in_memory(_RECENT_BYTES // len(self._runners))
            runner.trouble.over()
            runner.start()
        except StartAnew as error:
            log.info("%s", error)
            self._anew = True
        except AWAY:
            raise
        except Exception as error:
            runner.trouble.note("cannot be read", error)

    def _begin_without_database(self, runner: Runner) -> None:
        try:
            if not runner.ready and runner.read_without_database():
                runner.start()
        except Exception as error:
            runner.trouble.note("cannot be read", error)

    def _store_each(self, runners: Iterable[Runner]) -> None:
        """A fault in one holds up no other. The database's own fault is met by each: two in a row
        and it is taken for that."""
        away: Exception | None = None
        for runner in runners:
            if runner.trouble.rests:
                continue
            try:
                self._store_one(runner)
                runner.trouble.over()
                away = None
            except AWAY as error:
                if away is not None:
                    raise
                away = error
                connection.close()
                if self._each_alone:
                    runner.trouble.note("cannot be stored", error)
            except Exception as error:
                runner.trouble.note("cannot be decoded or stored", error)
        if away is not None:
            raise away

    def _store_one(self, runner: Runner) -> None:
        until = runner.writer.durable
        while runner.storing.step(until) and not self._stop.is_set():
            pass

    def _say(self) -> None:
        """Of one share of the sources after the other, and once a round of the host's clock."""
        now_us, mono_us = clock_us()
        if self._share == 0:
            host_clock_alarm(self._host.step(now_us, mono_us), now_us)
            log_alarm(now_us)
            self._tidies = time.monotonic() - self._tidied_s > _TIDY_S
            if self._tidies:
                self._tidied_s = time.monotonic()
        share = self._shares[self._share]
        self._share = (self._share + 1) % len(self._shares)
        beat(share)
        if self._tidies:
            self._tidy(share)

    @staticmethod
    def _tidy(runners: Sequence[Runner]) -> None:
        pack_some([runner.feed for runner in runners])
        for runner in runners:
            if runner.ready:
                remember_places(runner.feed)
