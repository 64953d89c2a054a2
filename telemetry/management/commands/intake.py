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

from telemetry.management.base import IntakeCommand, feed_named
from telemetry.models import Feed
from telemetry.privacy import protect
from telemetry.selectors import feed_status
from telemetry.worker import run_once, run_until


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

    def _until_stopped(self, names: list[str]) -> list[Feed]:
        stop = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())
        feeds = _feeds(names)
        while not stop.is_set():
            try:
                feeds = _feeds(names)
                run_until(feeds, stop, partial(_differ, names, _marks(feeds)))
            except DatabaseError as error:
                self.stderr.write(f"the database does not answer, trying again: {error}")
                connection.close()
                stop.wait(1.0)
            if not feeds:
                stop.wait(2.0)
        return feeds


def _feeds(names: list[str]) -> list[Feed]:
    """The feeds asked for; without names every enabled one."""
    if names:
        return [feed_named(name) for name in dict.fromkeys(names)]
    return list(Feed.objects.filter(enabled=True))


def _differ(names: list[str], known: list[tuple[int, int, int]]) -> bool:
    return _marks(_feeds(names)) != known


def _marks(feeds: list[Feed]) -> list[tuple[int, int, int]]:
    """What a running worker must start anew for."""
    return [(feed.pk, feed.version, feed.clock_version) for feed in feeds]
