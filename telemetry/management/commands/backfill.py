"""`backfill NAME FILE [NAME FILE ...] [--json]`: files into feeds."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from telemetry.errors import DescriptionError
from telemetry.management.base import IntakeCommand, feed_named
from telemetry.worker.backfill import Done, backfill_all


class Command(IntakeCommand):
    """Reads files into feeds. Lines that are stored already are passed over."""

    help = "Read files, each into its feed; what is stored already counts once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("pairs", metavar="NAME FILE", nargs="+", help="a feed and its file")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def run(self, **options: Any) -> None:
        names, files = options["pairs"][::2], options["pairs"][1::2]
        if len(names) != len(files):
            raise DescriptionError(f"backfill: no file is named after {names[-1]!r}")
        work = [(feed_named(name), Path(file)) for name, file in zip(names, files, strict=True)]
        began = time.monotonic()
        try:
            every = backfill_all(work, self._progress)
        except KeyboardInterrupt as stop:
            self.stderr.write("stopped: what was read stays read, run it again to go on")
            raise SystemExit(130) from stop  # as shells say it of an interrupt
        seconds = time.monotonic() - began
        each = list(zip(names, files, every, strict=True))
        if not options["json"]:
            for name, file, done in each:
                self.stdout.write(f"{name}: " * (len(each) > 1) + _words(file, done))
            self.stdout.write(f"{seconds:.1f} s")
        elif len(each) == 1:
            self.print_json({**_facts(names[0], every[0]), "seconds": round(seconds, 3)})
        else:
            facts = [{**_facts(name, done), "file": file} for name, file, done in each]
            self.print_json({"files": facts, "seconds": round(seconds, 3)})

    def _progress(self, done: int, of: int) -> None:
        if sys.stderr.isatty():
            self.stderr.write(f"\r{done * 100 // max(of, 1)} %", ending="" if done < of else "\n")


def _facts(name: str, done: Done) -> dict[str, Any]:
    return {
        "feed": name,
        "lines": done.lines,
        "events": done.events,
        "known": done.known,
        "already_read": done.already_read,
    }


def _words(file: str, done: Done) -> str:
    if done.already_read:
        return f"{file}: this file was read in before, nothing is new"
    return f"{done.lines} new lines, {done.events} new events, {done.known} lines known already"
