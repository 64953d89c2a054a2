"""The worker's threads, and the one pass of `--once`."""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable, Sequence

from django.db import Error as DatabaseError

from telemetry.errors import TelemetryError
from telemetry.journal.disk import Disk
from telemetry.locks import Busy, is_held
from telemetry.models import Feed
from telemetry.paths import journals_folder, lock_path
from telemetry.worker.beats import beat
from telemetry.worker.committing import Committing
from telemetry.worker.log import write_back_until
from telemetry.worker.rounds import write_together
from telemetry.worker.runner import Runner
from telemetry.worker.trouble import AWAY
from telemetry.worker.turns import Turns
from telemetry.worker.unhurried import unhurried

log = logging.getLogger("telemetry.worker")
_BUSY_AGAIN_S = 10.0


def run_once(feeds: Sequence[Feed]) -> None:
    """Reads what is there, stores it and ends. A feed that cannot be read raises, after the
    others have been."""
    runners, faults = _take(feeds)
    try:
        for runner in runners:
            try:
                _once(runner)
            except (TelemetryError, *AWAY) as error:
                faults.append(error)
            except Exception as error:
                runner.trouble.note("cannot be read or stored", error)
                faults.append(TelemetryError(f"{runner.feed.name}: {runner.trouble.words}"))
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
    is to be read is no longer what is read. Returns with the journal closed.

    A source that another process reads or that has any other fault of its own is shown as such
    and tried again; only if another reads all of them that is raised (Busy).
    """
    runners, busy = _take(feeds)
    if busy and not runners:
        raise busy[0]
    for error in busy:
        log.error("%s", error)
    turns = Turns()
    journaler = threading.Thread(target=_journal, args=(runners, turns), name="journal")
    log_writer = threading.Thread(target=write_back_until, args=(turns.ending,), name="log")
    again_s = time.monotonic() + _BUSY_AGAIN_S
    try:
        for runner in runners:
            runner.synced, runner.full, runner.ports = turns.synced, turns.full, turns.ports
        with unhurried():
            if turns.ports is not None:
                turns.ports.start()
            journaler.start()
            log_writer.start()
            Committing(runners, turns, stop).until(
                lambda: (
                    changed()
                    or not journaler.is_alive()
                    or (bool(busy) and time.monotonic() > again_s and _any_free(feeds, runners))
                )
            )
    finally:
        for runner in runners:
            runner.stop.set()
        turns.end()
        if journaler.ident is not None:
            journaler.join()
        if log_writer.ident is not None:
            log_writer.join()
        for runner in runners:
            runner.end()
        _last_commits(runners)


def _any_free(feeds: Sequence[Feed], runners: Sequence[Runner]) -> bool:
    """Whether a source that another process was reading is read by nobody now."""
    mine = {runner.feed.pk for runner in runners}
    return any(not is_held(lock_path(f.name, "live")) for f in feeds if f.pk not in mine)


def _take(feeds: Sequence[Feed]) -> tuple[list[Runner], list[Exception]]:
    """A runner for each feed whose lock could be had, and why the others could not."""
    runners: list[Runner] = []
    busy: list[Exception] = []
    for feed in feeds:
        try:
            runners.append(Runner(feed))
        except (Busy, OSError) as error:
            busy.append(error)
    return runners, busy


def _journal(runners: list[Runner], turns: Turns) -> None:
    with contextlib.closing(Disk(journals_folder())) as disk:
        while not turns.ending.is_set():
            try:
                _journal_once(disk, runners, turns)
            except Exception:
                log.exception("journalling failed, trying again")
                turns.ending.wait(0.5)


def _journal_once(disk: Disk, runners: list[Runner], turns: Turns) -> None:
    began = turns.pace.began_s = time.monotonic()
    turns.full.clear()
    if turns.ports is not None:
        turns.ports.read_all()
    write_together(runners, disk)
    faulty = any(runner.journal_fault for runner in runners)
    left_s = (0.5 if faulty else turns.pace.between_s) - (time.monotonic() - began)
    if left_s > 0:
        (turns.ending if faulty else turns.full).wait(left_s)


def _last_commits(runners: list[Runner]) -> None:
    for runner in runners:
        if not runner.ready or runner.trouble:
            continue
        try:
            runner.storing.drain(runner.writer.durable)
            beat([runner], "closed")
        except DatabaseError as error:
            log.warning("%s: the rest will be stored at the next start: %s", runner.name, error)
            if isinstance(error, AWAY):
                return
