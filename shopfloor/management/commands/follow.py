"""`manage.py follow`: ties arcs to runs as intake writes them, until told to stop."""

from __future__ import annotations

import logging
import signal
import threading
import time
from types import FrameType
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import OperationalError, close_old_connections

from shopfloor.audit.actor import acting
from shopfloor.runs.follow import assignments_pruned, follow_arcs
from telemetry.database import NotReady, refuse_half_restored

log = logging.getLogger(__name__)
STEP_S = 0.25  # an arc is matched within half a second of its row
PRUNE_S = 600.0


class Command(BaseCommand):
    help = "Ties arcs to runs as intake writes them."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="do what is there and end")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            refuse_half_restored()
        except NotReady as problem:
            self.stderr.write(f"{problem} ({problem.hint})")
            raise SystemExit(2) from problem
        with acting("follow"):
            if options["once"]:
                while follow_arcs():
                    pass
                assignments_pruned()
                return
            self._follow(_stop_on_signal())

    def _follow(self, stop: threading.Event) -> None:
        pruned = time.monotonic()
        while not stop.is_set():
            try:
                close_old_connections()
                if follow_arcs():
                    continue
                if time.monotonic() - pruned > PRUNE_S:
                    assignments_pruned()
                    pruned = time.monotonic()
            except OperationalError as problem:  # the database is away or busy: it comes back
                log.warning("follow waits: %s", problem)
                stop.wait(2.0)
            stop.wait(STEP_S)


def _stop_on_signal() -> threading.Event:
    stop = threading.Event()

    def tell(number: int, frame: FrameType | None) -> None:
        stop.set()

    signal.signal(signal.SIGTERM, tell)
    signal.signal(signal.SIGINT, tell)
    return stop
