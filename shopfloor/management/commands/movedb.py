"""`movedb --to postgres://...`: the shop from SQLite to PostgreSQL."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import CommandParser
from django.db import Error as DatabaseError

from shopfloor.backup.archive import BackupError
from shopfloor.moving.move import Moved, move
from telemetry.errors import TelemetryError
from telemetry.management.base import OneLineCommand


class Command(OneLineCommand):
    """Copies every table into an empty database and compares both; journal and files stay."""

    help = "Move the shop from SQLite to an empty PostgreSQL database."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--to", required=True, metavar="URL", help="postgres://USER@HOST/NAME")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        say = (lambda line: None) if options["json"] else self.stdout.write
        try:
            done = move(options["to"], say)
        except (BackupError, TelemetryError, DatabaseError, OSError) as problem:
            self.stderr.write(" ".join(str(problem).split()))
            raise SystemExit(2) from problem
        self._tell(done, as_json=options["json"])

    def _tell(self, done: list[Moved], *, as_json: bool) -> None:
        changed = sum(table.changed for table in done)
        if as_json:
            facts = {
                "tables": {t.table: {"rows": t.rows, "checksum": t.checksum} for t in done},
                "changed": changed,
            }
            self.stdout.write(json.dumps(facts))
            return
        if changed:
            self.stdout.write(
                f"{changed} texts hold a NUL or half a character, which PostgreSQL does not keep: "
                "a sign (\u2400 or \ufffd) stands in its place."
            )
        rows = sum(table.rows for table in done)
        self.stdout.write(
            f"{rows:,} rows of {len(done)} tables are there, and each table agrees with the old "
            "one by count and checksum.\n"
            "To switch: set DATABASE_URL to that address for every process of the program, keep "
            "KERFBOOK_DATA as it is (journal and files stay there), and start. `verify` proves "
            "the rest. The old database stays as it was: put it away once you are content."
        )
