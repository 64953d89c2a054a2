"""`backup FILE [--json]`: everything into one file, while everything runs."""

from __future__ import annotations

import json
import signal
import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings

from shopfloor.backup import BackupError, backup_make
from telemetry.management.base import OneLineCommand


class Command(OneLineCommand):
    help = (
        "Write database, journal, uploaded files and the key that signs sign-ins into one file, "
        "while everything runs. Who has the file has the shop: keep it as you keep the office key."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="best on another disk or machine")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that the draft goes
        path, began = Path(options["file"]), time.monotonic()
        try:
            made = backup_make(path)
        except BackupError as problem:
            self.stderr.write(str(problem))
            raise SystemExit(2) from problem
        took = time.monotonic() - began
        if options["json"]:
            self.stdout.write(
                json.dumps(
                    {"file": str(made.path), "bytes": made.size, "seconds": round(took, 3),
                     "rows": made.rows, "files": made.files}
                )
            )  # fmt: skip
            return
        self.stdout.write(
            f"{made.path}: {sum(made.rows.values()):,} rows of {len(made.rows)} tables and "
            f"{made.files:,} files, {made.size / 1e6:,.1f} MB, read back whole, in {took:.1f} s"
        )
        if made.path.is_relative_to(Path(settings.DATA_DIR)):
            self.stderr.write("It lies in the data folder and is lost with it: copy it elsewhere.")
