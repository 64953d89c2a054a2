"""What the worker does for many feeds in one go."""

from __future__ import annotations

import logging
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

from django.db import Error as DatabaseError

from telemetry.journal import JournalError, Position
from telemetry.journal.disk import Disk
from telemetry.store import EachAlone, News, commit
from telemetry.worker.lane_runner import LaneRunner
from telemetry.worker.runner import Runner
from telemetry.worker.trouble import AWAY

log = logging.getLogger("telemetry.worker")
_AT_ONCE = 24  # threads that wait for the disk: it makes many files durable for the time of one
_SETTLED = 3  # feeds whose sums are brought up to date between two commits
_SETTLE_S = 2.0  # and none of them more often than that
_pool = ThreadPoolExecutor(_AT_ONCE, thread_name_prefix="journal")


def write_together(runners: Sequence[Runner], disk: Disk | None = None) -> None:
    """Journals what is queued. A fault of one feed is noted there and holds up no other.

    All is written first and then made durable, at once where the file system can do that, else
    many files a thread: a thread a file costs three times as much, and one after the other a
    hundred times as long.
    """
    written = [runner for runner in runners if runner.has_work and _write(runner)]
    if not written:
        return
    if disk is not None and disk.takes([runner.writer.device for runner in written]):
        _harden_all(written, disk)
    else:
        _harden_each(written)
    written[0].synced.set()


def _harden_all(written: Sequence[Runner], disk: Disk) -> None:
    """A fault is that of every file: which of them it was, the system does not say."""
    try:
        disk.sync()
    except OSError as error:
        for runner in written:
            _note(runner, runner.writer.failed(error))
        return
    for runner in written:
        runner.writer.hardened()
        runner.journal_fault = ""


def _harden_each(written: Sequence[Runner]) -> None:
    shares = [written[n::_AT_ONCE] for n in range(min(_AT_ONCE, len(written)))]
    others = _pool.map(_harden, shares[1:]) if len(shares) > 1 else ()
    _harden(shares[0])
    for _ in others:
        pass


def _write(runner: Runner) -> bool:
    """True where something was written that is to be made durable."""
    try:
        runner.take_in()
        runner.flush_if_quiet()
        if not runner.writer.pending_bytes:
            runner.journal_fault = ""
            return False
        runner.writer.write()
    except JournalError as error:
        _note(runner, error)
        return False
    except Exception as error:  # of our own: the others are journalled all the same
        log.exception("%s: cannot be journalled", runner.name)
        _note(runner, JournalError(f"cannot be journalled: {error!r}"))
        return False
    return True


def _harden(runners: Sequence[Runner]) -> None:
    for runner in runners:
        try:
            runner.writer.harden()
            runner.journal_fault = ""
        except JournalError as error:
            _note(runner, error)


def _note(runner: Runner, error: JournalError) -> None:
    if not runner.journal_fault:
        log.error("%s: %s; it waits in memory", runner.feed.name, error)
    runner.journal_fault = str(error)


def store_together(runners: Sequence[Runner]) -> list[Runner]:
    """Commits in one transaction what is plain news, and in more what comes behind it. Returns
    those with something that each must store by itself. What came meanwhile is for all of them
    together again."""
    upto = [(runner, runner.writer.durable) for runner in runners]
    left: list[Runner] = []
    while upto := [(one, until) for one, until in upto if not one.storing.is_done(until)]:
        whose, alone = _plain(upto)
        left += alone
        if not whose:
            break
        every = [news for _, news in whose]
        if not _committed(every):
            return left + [runner for runner, _ in whose]
        for runner, _ in whose:
            runner.storing.stored()
        upto = [(one, until) for one, until in upto if one not in left]
    return left


def _committed(every: Sequence[News]) -> bool:
    """False where the rows of one of them are not taken: then each is stored by itself."""
    try:
        commit(every)
    except EachAlone:
        return False
    except AWAY:
        raise
    except DatabaseError as error:
        log.warning("rows are not taken, each source by itself: %s", error)
        return False
    return True


def _plain(
    upto: Sequence[tuple[Runner, Position]],
) -> tuple[list[tuple[Runner, News]], list[Runner]]:
    """Those with plain news, and those with other."""
    whose: list[tuple[Runner, News]] = []
    alone: list[Runner] = []
    for runner, until in upto:
        try:
            news = runner.storing.plain_news(until)
        except AWAY:
            raise
        except Exception as error:
            # Met again, noted and shown where the feed is stored by itself.
            log.debug("%s: %r", runner.feed.name, error)
            alone.append(runner)
            continue
        if news is not None:
            whose.append((runner, news))
        elif runner.storing.pending is not None:
            alone.append(runner)
    return whose, alone


def settle_some(runners: Sequence[Runner]) -> None:
    """Brings the sums of a few feeds up to date, those that have waited longest first."""
    now = time.monotonic()
    waiting = [one for one in runners if one.storing.due and now - one.settled > _SETTLE_S]
    if not waiting:
        return
    waiting.sort(key=lambda runner: runner.settled)
    some = waiting[:_SETTLED]
    for runner in some:
        runner.settled = now
    try:
        LaneRunner.settle([runner.storing for runner in some])
    except AWAY:
        raise
    except Exception:
        _settle_each(some)
    for runner in some:
        runner.storing.see_clock()


def _settle_each(runners: Sequence[Runner]) -> None:
    for runner in runners:
        try:
            LaneRunner.settle([runner.storing])
        except AWAY:
            raise
        except Exception as error:
            runner.trouble.note("its sums cannot be brought up to date", error)
