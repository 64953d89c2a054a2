"""`rebuild [--from DATE] [--json]`: journal to events, arcs and rollups again."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.core.management.base import CommandParser

from telemetry.errors import TelemetryError
from telemetry.management.base import IntakeCommand
from telemetry.models import Feed
from telemetry.rebuild import rebuild


class Command(IntakeCommand):
    """Decodes the journal again; keys of arcs, and what was said of them, stay."""

    help = "Make events, arcs and rollups again from the journal."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--from", dest="start", metavar="DATE", help="UTC date, YYYY-MM-DD")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def run(self, **options: Any) -> None:
        from_us = None if options["start"] is None else _utc_us(options["start"])
        done = [rebuild(feed, from_us) for feed in Feed.objects.all()]
        if options["json"]:
            rows = [
                {"name": d.feed, "lines": d.lines, "events": d.events, "arcs": d.arcs} for d in done
            ]
            self.print_json({"feeds": rows})
            return
        for d in done:
            self.stdout.write(f"{d.feed}: {d.lines} lines, {d.events} events, {d.arcs} arcs")


def _utc_us(text: str) -> int:
    try:
        day = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError as error:
        raise TelemetryError(f"--from: {text!r} is not a date, allowed: YYYY-MM-DD") from error
    return int(day.timestamp()) * 1_000_000
