"""`backfill NAME FILE [--json]`: one file into one feed."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from telemetry.backfill import backfill
from telemetry.management.base import IntakeCommand, feed_named


class Command(IntakeCommand):
    """Reads a file into a feed. Lines that are stored already are passed over."""

    help = "Read one file into one feed; what is stored already counts once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", metavar="NAME")
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def run(self, **options: Any) -> None:
        feed = feed_named(options["name"])
        began = time.monotonic()
        done = backfill(feed, options["file"], self._progress)
        seconds = time.monotonic() - began
        if options["json"]:
            self.print_json(
                {
                    "feed": feed.name,
                    "lines": done.lines,
                    "events": done.events,
                    "known": done.known,
                    "already_read": done.already_read,
                    "seconds": round(seconds, 3),
                }
            )
        elif done.already_read:
            self.stdout.write(f"{options['file']}: this file was read in before, nothing is new")
        else:
            self.stdout.write(
                f"{done.lines} new lines, {done.events} new events, "
                f"{done.known} lines known already, {seconds:.1f} s"
            )

    def _progress(self, done: int, of: int) -> None:
        if sys.stderr.isatty():
            self.stderr.write(f"\r{done * 100 // max(of, 1)} %", ending="" if done < of else "\n")
