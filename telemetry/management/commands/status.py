"""`status [--json]`: what each feed has given and how it is."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from telemetry.alarms import Standing, standing_alarms
from telemetry.management.base import IntakeCommand
from telemetry.models import Feed
from telemetry.selectors import feed_status, iso


class Command(IntakeCommand):
    """The health of every feed, as counts and one word."""

    help = "Show what each feed has given and whether it is alive."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def run(self, **options: Any) -> None:
        rows = [feed_status(feed) for feed in Feed.objects.all()]
        alarms = standing_alarms()
        if options["json"]:
            self.print_json({"feeds": rows, "alarms": [_facts(alarm) for alarm in alarms]})
            return
        for alarm in alarms:
            whose = f"{alarm.source}: " if alarm.source else ""
            self.stdout.write(f"ALARM {whose}{alarm.code}: {alarm.message}")
        for row in rows:
            self.stdout.write(
                f"{row['name']}: {row['state']}, table {row['table']}, {row['lines']} lines, "
                f"{row['rejected']} rejected, {row['gaps']} gaps, {row['arcs']} arcs, "
                f"last line {row['last_line'] or 'never'}"
            )


def _facts(alarm: Standing) -> dict[str, Any]:
    return {
        "code": alarm.code,
        "source": alarm.source or None,
        "message": alarm.message,
        "since": None if alarm.since_us is None else iso(alarm.since_us),
    }
