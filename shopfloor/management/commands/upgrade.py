"""`upgrade [--backup FILE]`: the database to the version of this program, with the way back."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings

from shopfloor.backup.archive import BackupError
from shopfloor.backup.upgrade import UpgradeFailed, upgrade
from telemetry.management.base import OneLineCommand


class Command(OneLineCommand):
    help = (
        "Bring the database to this program's version: backs up, changes the tables, checks. "
        "Where that fails the backup is put back by itself."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--backup",
            metavar="FILE",
            help="where to back up to (else backups/ in the data folder)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        path = Path(options["backup"]) if options["backup"] else None
        try:
            done = upgrade(path)
        except BackupError as problem:
            self.stderr.write(" ".join(str(problem).split()))
            raise SystemExit(1 if isinstance(problem, UpgradeFailed) else 2) from problem
        if done.backup is None:
            self.stdout.write("The database is of this version already; nothing was done.")
            return
        self.stdout.write(f"Upgraded: {', '.join(done.applied)}. Backup from before: {done.backup}")
        if done.backup.is_relative_to(Path(settings.DATA_DIR)):
            self.stdout.write("It is in the data folder: copy it elsewhere.")
        self.stdout.write(
            f"To go back: `manage.py restore {done.backup} --replace --keep-version` with this "
            "program, then start the former one."
        )
