"""`backup FILE [--json]`: everything into one file, while everything runs. `backup --scheduled`
is the one that background work begins: to the folder of the plan, old ones thinned."""

from __future__ import annotations

import json
import signal
import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone

from shopfloor.backup.archive import BackupError
from shopfloor.backup.make import Made, backup_make
from shopfloor.backup.services import backup_note, backup_scheduled
from shopfloor.models import User
from telemetry.management.base import OneLineCommand


class Command(OneLineCommand):
    help = (
        "Write database, journal, uploaded files and the key that signs sign-ins into one file, "
        "while everything runs. Who has the file has the shop: keep it as you keep the office key."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", metavar="FILE", nargs="?", help="best on another disk or machine"
        )
        parser.add_argument(
            "--scheduled", action="store_true", help="to the folder set on the page Backups"
        )
        parser.add_argument("--by", type=int, help="the number of the person who asked")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that the draft goes
        if (options["file"] is None) != options["scheduled"]:
            self.stderr.write("backup: name a FILE, or give --scheduled alone")
            raise SystemExit(2)
        began = time.monotonic()
        try:
            if options["scheduled"]:
                made = backup_scheduled(by=User.objects.filter(pk=options["by"]).first())
            else:
                made = _named(Path(options["file"]))
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
            self.stderr.write("It is in the data folder and is lost with it: copy it elsewhere.")


def _named(path: Path) -> Made:
    began = timezone.now()
    made = backup_make(path)
    backup_note(path=made.path, began=began, made=made, scheduled=False)
    return made
