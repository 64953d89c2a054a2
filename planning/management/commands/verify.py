"""`verify [--json]`: whether journal, events, arcs, sums, books and files agree."""

from __future__ import annotations

import os
from typing import Any

from django.core.management.base import CommandParser

from planning.services.verification import verification_make
from shopfloor.models import User
from telemetry.management.base import IntakeCommand


class Command(IntakeCommand):
    """Reads everything and changes nothing but the row that keeps the result. Status 1 where
    something does not agree."""

    help = "Prove that journal, events, arcs, sums, books and files agree."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="print one JSON object")
        parser.add_argument(
            "--asked", choices=("command", "button", "night"), default="command",
            help="who wants it; any but `command` runs with low priority",
        )  # fmt: skip
        parser.add_argument("--by", type=int, help="the number of the person who asked")

    def run(self, **options: Any) -> None:
        if options["asked"] != "command":
            os.nice(10)
        by = User.objects.filter(pk=options["by"]).first() if options["by"] else None
        row = verification_make(asked=options["asked"], by=by)
        if options["json"]:
            self.print_json({"faults": row.faults, "findings": row.findings, "counts": row.counts})
        else:
            for finding in row.findings:
                self.stdout.write(f"{'' if finding['fault'] else 'note: '}{finding['text']}")
            counts = row.counts
            looked = (
                f"{counts.get('segments', 0):,} segments with {counts.get('records', 0):,} records,"
                f" {counts.get('lines', 0):,} lines, {counts.get('arcs', 0):,} arcs"
            )
            said = f"{row.faults} faults" if row.faults else "Everything agrees"
            self.stdout.write(f"{said}: {looked} and all records of the shop were read.")
        if row.faults:
            raise SystemExit(1)
