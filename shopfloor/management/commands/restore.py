"""`restore FILE [--replace] [--keep-version] [--json]`: a backup back into its place."""

from __future__ import annotations

import json
import signal
import sys
import time
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from shopfloor.backup.archive import BackupError
from shopfloor.backup.restore import restore
from telemetry.management.base import OneLineCommand


class Command(OneLineCommand):
    help = (
        "Put a backup back: database, journal, uploaded files and the key that signs sign-ins. "
        "Everything is checked first; a file that is cut, altered or newer changes nothing."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument(
            "--replace", action="store_true", help="move the shop that is there aside and keep it"
        )
        parser.add_argument(
            "--keep-version",
            action="store_true",
            help="leave the database at the backup's version, to go back to that program",
        )
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
        began = time.monotonic()
        try:
            done = restore(
                Path(options["file"]),
                replace=options["replace"],
                migrate=not options["keep_version"],
            )
        except BackupError as problem:
            self.stderr.write(" ".join(str(problem).split()))
            raise SystemExit(2) from problem
        took = time.monotonic() - began
        if options["json"]:
            self.stdout.write(json.dumps({**asdict(done), "seconds": round(took, 3)}))
            return
        self.stdout.write(
            f"restored the backup of {done.made_at}: {sum(done.rows.values()):,} rows of "
            f"{len(done.rows)} tables and {done.files:,} files, in {took:.1f} s"
        )
        if done.kept:
            self.stdout.write(f"The shop that was there is kept in {done.kept}.")
        if options["keep_version"]:
            self.stdout.write("Run the program of that version: its `migrate` or `start` goes on.")
