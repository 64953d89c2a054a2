"""`intake [NAME ...] [--once] [--json]`: the worker that reads feeds."""

from __future__ import annotations

import signal
import threading
from functools import partial
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser
from django.db import Error as DatabaseError
from django.db import connection

from telemetry.database import ensure_database
from telemetry.management.base import IntakeCommand, feed_named
from telemetry.models import Feed
from telemetry.privacy import protect
from telemetry.selectors import feed_status
from telemetry.worker import run_once, run_until
from telemetry.worker.remembered import forget_others, recall_all


class Command(IntakeCommand):
    """Reads feeds until it is stopped; a second worker on the same feed refuses."""

    help = "Read feeds into the journal and the database until stopped."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("names", metavar="NAME", nargs="*", help="feeds; default all enabled")
        parser.add_argument("--once", action="store_true", help="read what is there, then end")
        parser.add_argument("--json", action="store_true", help="print one JSON object at the end")

    def run(self, **options: Any) -> None:
        for line in protect(Path(settings.DATA_DIR)):
            self.stderr.write(line)
        names: list[str] = options["names"]
        if options["once"]:
            feeds = _feeds(names)
            run_once(feeds)
        else:
            feeds = self._until_stopped(names)
        if options["json"]:
            self.print_json({"feeds": [feed_status(feed) for feed in feeds]})

    def needs_database(self, **options: Any) -> bool:
        """Without it the worker reads what it remembers of the sources into their journals."""
        return bool(options["once"])

    def _until_stopped(self, names: list[str]) -> list[Feed]:
        stop = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())
        database = _Database(names)
        feeds: list[Feed] = []
        while not stop.is_set():
            try:
                feeds = database.feeds()
                if not names:
                    forget_others({feed.name for feed in feeds})
            except DatabaseError as error:
                feeds = [one.feed for one in recall_all() if not names or one.feed.name in names]
                self.stderr.write(
                    f"the database does not answer, reading {len(feeds)} sources into their "
                    f"journals: {' '.join(str(error).split())}"
                )
                connection.close()
            if feeds:
                run_until(feeds, stop, partial(database.differs, _marks(feeds)))
            else:
                stop.wait(2.0)
        return feeds


class _Database:
    """The feeds asked for, as it has them; without names every enabled one."""

    def __init__(self, names: list[str]) -> None:
        self._names = list(dict.fromkeys(names))
        self._made = self._named = False

    def feeds(self) -> list[Feed]:
        """Names that are unknown raise DescriptionError, but only at first: a source that is taken
        away later ends no other."""
        if not self._made:
            ensure_database()
            self._made = True
        if self._names and not self._named:
            feeds = [feed_named(name) for name in self._names]
            self._named = True
            return feeds
        if self._names:
            return list(Feed.objects.filter(name__in=self._names))
        return list(Feed.objects.filter(enabled=True))

    def differs(self, known: list[tuple[int, int, int]]) -> bool:
        return _marks(self.feeds()) != known


def _feeds(names: list[str]) -> list[Feed]:
    return _Database(names).feeds()


def _marks(feeds: list[Feed]) -> list[tuple[int, int, int]]:
    """What a running worker must start anew for."""
    return sorted((feed.pk, feed.version, feed.clock_version) for feed in feeds)
