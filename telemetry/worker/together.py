"""What the worker does for many feeds in one go."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

from django.db import Error as DatabaseError

from telemetry.journal import JournalError
from telemetry.store.together import commit_together
from telemetry.worker.runner import Runner
from telemetry.worker.storing import Storing

log = logging.getLogger("telemetry.worker")
_AT_ONCE = 16  # files made durable side by side: the disk does several for the time of one
_SETTLED = 3  # feeds whose sums are brought up to date between two commits
_pool = ThreadPoolExecutor(_AT_ONCE, thread_name_prefix="journal")


def write_together(runners: Sequence[Runner]) -> None:
    """Journals what is queued. A fault of one feed is noted there and holds up no other."""
    if len(runners) == 1:
        _write(runners[0])
        return
    for _ in _pool.map(_write, [runner for runner in runners if runner.has_work]):
        pass


def _write(runner: Runner) -> None:
    try:
        runner.journal()
        runner.flush_if_quiet()
        runner.journal_fault = ""
    except JournalError as error:
        if not runner.journal_fault:
            log.error("%s: %s; it waits in memory", runner.feed.name, error)
        runner.journal_fault = str(error)


def store_together(runners: Sequence[Runner]) -> None:
    """Commits in one transaction what is plain news; the rest is left for each feed's own."""
    every, whose = [], []
    for runner in runners:
        try:
            news = runner.storing.plain_news(runner.writer.durable)
        except DatabaseError:
            raise
        except Exception as error:
            # Met again, noted and shown where the feed is stored by itself.
            log.debug("%s: %r", runner.feed.name, error)
            continue
        if news is not None:
            every.append(news)
            whose.append(runner)
    if len(every) > 1 and commit_together(every):
        for runner in whose:
            runner.storing.stored()


def settle_some(runners: Sequence[Runner]) -> None:
    """Brings the sums of a few feeds up to date, those that have waited longest first."""
    waiting = [runner for runner in runners if runner.storing.due]
    waiting.sort(key=lambda runner: runner.settled)
    if not waiting:
        return
    Storing.settle([runner.storing for runner in waiting[:_SETTLED]])
    for runner in waiting[:_SETTLED]:
        runner.settled += 1
