"""The worker's threads, and the one pass of `--once`."""

from __future__ import annotations

import contextlib
import gc
import logging
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence

from django.db import Error as DatabaseError
from django.db import close_old_connections, connection

from telemetry.clockwatch import HostClock
from telemetry.errors import TelemetryError
from telemetry.journal.disk import Disk
from telemetry.journal.writer import clock_us
from telemetry.models import Feed
from telemetry.paths import journals_folder
from telemetry.ports import Ports
from telemetry.worker.beats import beat
from telemetry.worker.clocks import host_clock_alarm
from telemetry.worker.log import log_alarm, write_back_until
from telemetry.worker.pace import COMMIT_S, Pace
from telemetry.worker.packing import pack_some
from telemetry.worker.runner import Runner
from telemetry.worker.together import settle_some, store_together, write_together

log = logging.getLogger("telemetry.worker")
_BEAT_US = 2_000_000
_STUCK_S = 30.0
_SWITCH_S = 0.0005
_RECENT_BYTES = 32 * 1024 * 1024  # of the journals' ends that are kept at hand, in all
_TIDY_US = 60_000_000


def run_once(feeds: Sequence[Feed]) -> None:
    """Reads what is there, stores it and ends. A feed that cannot be read raises, after the
    others have been."""
    runners = _take(feeds)
    faults: list[TelemetryError] = []
    try:
        for runner in runners:
            try:
                _once(runner)
            except TelemetryError as error:
                faults.append(error)
    finally:
        for runner in runners:
            runner.end()
    if faults:
        raise faults[0]


def _once(runner: Runner) -> None:
    runner.prepare()
    runner.read_what_is_there()
    while runner.journal():
        pass
    runner.flush_if_quiet(now=True)
    runner.journal()
    runner.storing.drain(runner.writer.durable)
    beat([runner], "closed")


def run_until(feeds: Sequence[Feed], stop: threading.Event, changed: Callable[[], bool]) -> None:
    """Reads feeds until `stop` is set, or `changed()` (asked every two seconds) says that what
    is to be read is no longer what is read. Returns with the journal closed."""
    runners = _take(feeds)
    turns = _Turns()
    journaler = threading.Thread(target=_journal, args=(runners, turns), name="journal")
    log_keeper = threading.Thread(target=write_back_until, args=(turns.ending,), name="log")
    try:
        for runner in runners:
            runner.synced, runner.full, runner.ports = turns.synced, turns.full, turns.ports
            runner.prepare()
            runner.follow_in_memory(_RECENT_BYTES // len(runners))
        with _unhurried():
            journaler.start()
            log_keeper.start()
            if turns.ports is not None:
                turns.ports.start()
            for runner in runners:
                runner.start()
            _commit(runners, turns, stop, lambda: changed() or not journaler.is_alive())
    finally:
        for runner in runners:
            runner.stop.set()
        turns.end()
        if journaler.ident is not None:
            journaler.join()
        if log_keeper.ident is not None:
            log_keeper.join()
        for runner in runners:
            runner.end()
        _last_commits(runners)


class _Turns:
    """What the threads of one worker tell each other."""

    def __init__(self) -> None:
        self.synced = threading.Event()  # the journal has something new
        self.full = threading.Event()  # much waits for the journal
        self.ending = threading.Event()
        self.pace = Pace()
        self.ports = Ports.make()

    def end(self) -> None:
        self.ending.set()
        self.full.set()
        if self.ports is not None:
            self.ports.close()


@contextlib.contextmanager
def _unhurried() -> Iterator[None]:
    """The collector passes over what is there already: to look through a whole program for cycles
    takes longer than a commit. And a thread that waits for its turn gets it sooner."""
    interval_s = sys.getswitchinterval()
    sys.setswitchinterval(_SWITCH_S)
    gc.collect()
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()
        sys.setswitchinterval(interval_s)


def _take(feeds: Sequence[Feed]) -> list[Runner]:
    """A runner a feed, each holding its lock; if one is held elsewhere, none is kept."""
    runners: list[Runner] = []
    try:
        for feed in feeds:
            runners.append(Runner(feed))
    except TelemetryError:
        for runner in runners:
            runner.lock.release()
        raise
    return runners


def _journal(runners: list[Runner], turns: _Turns) -> None:
    with contextlib.closing(Disk(journals_folder())) as disk:
        _journal_on(disk, runners, turns)


def _journal_on(disk: Disk, runners: list[Runner], turns: _Turns) -> None:
    while not turns.ending.is_set():
        began = turns.pace.began_s = time.monotonic()
        turns.full.clear()
        if turns.ports is not None:
            turns.ports.read_all()
        write_together(runners, disk)
        faulty = any(runner.journal_fault for runner in runners)
        left_s = (0.5 if faulty else turns.pace.between_s) - (time.monotonic() - began)
        if left_s > 0:
            (turns.ending if faulty else turns.full).wait(left_s)


def _commit(
    runners: list[Runner],
    turns: _Turns,
    stop: threading.Event,
    changed: Callable[[], bool],
) -> None:
    beat_us, wait_s, tidied_us = 0, 0.0, clock_us()[0]
    host = HostClock(*clock_us())
    while not stop.is_set():
        news = turns.synced.wait(COMMIT_S)
        turns.synced.clear()
        began_s = turns.pace.began_s
        try:
            left = store_together([runner for runner in runners if not runner.stuck])
            for runner in [*left, *(runner for runner in runners if runner.stuck)]:
                _store(runner, stop)
            if news:
                turns.pace.committed(began_s)
            settle_some(runners)
            now_us = clock_us()[0]
            if now_us - beat_us > _BEAT_US:
                beat_us = now_us
                host_clock_alarm(host.step(*clock_us()), now_us)
                log_alarm(now_us)
                beat(runners)
                if now_us - tidied_us > _TIDY_US:
                    tidied_us = now_us
                    pack_some([runner.feed for runner in runners])
                if changed():
                    return
            wait_s = 0.0
        except DatabaseError as error:
            # Locked, down or migrating: the journal grows meanwhile and is stored later.
            log.warning("the database does not answer, trying again: %s", error)
            connection.close()
            wait_s = min(max(wait_s * 2, 0.2), 5.0)
            stop.wait(wait_s)
    close_old_connections()


def _store(runner: Runner, stop: threading.Event) -> None:
    """Commits what one feed has. A fault of our own in it must not hold up the other feeds: it
    is an alarm, the journal keeps the bytes, and it is tried again every half minute."""
    if time.monotonic() < runner.stuck_until:
        return
    until = runner.writer.durable
    try:
        while runner.storing.step(until) and not stop.is_set():
            pass
        runner.stuck = ""
    except DatabaseError:
        raise
    except Exception as error:
        log.exception("%s: cannot be decoded or stored", runner.feed.name)
        runner.stuck = f"cannot be decoded or stored: {error!r}"
        runner.stuck_until = time.monotonic() + _STUCK_S


def _last_commits(runners: list[Runner]) -> None:
    try:
        for runner in runners:
            if runner.ready and not runner.stuck:
                runner.storing.drain(runner.writer.durable)
                beat([runner], "closed")
    except DatabaseError as error:
        log.warning("the rest is in the journal and will be stored at the next start: %s", error)
