"""`rebuild [--from DATE] [--dry-run] [--json]`: journal to events, arcs and rollups again."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.core.management.base import CommandParser
from django.db import Error as DatabaseError

from telemetry.errors import TelemetryError
from telemetry.management.base import IntakeCommand, database_words
from telemetry.models import Feed
from telemetry.store.before import Changes
from telemetry.worker.rebuild import Rebuilt, rebuild


class Command(IntakeCommand):
    """Decodes the journal again; keys of arcs, and what was said of them, stay.

    Status 1 where a journal cannot be read whole: a line for each stretch names the file and the
    byte. What came in then stays as it is stored. One source's fault ends no other's rebuild.
    """

    help = "Make events, arcs and rollups again from the journal."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--from", dest="start", metavar="DATE", help="UTC date, YYYY-MM-DD")
        parser.add_argument(
            "--dry-run", action="store_true", help="say what would change, and change nothing"
        )
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def run(self, **options: Any) -> None:
        from_us = None if options["start"] is None else _utc_us(options["start"])
        done: list[Rebuilt] = []
        faults: list[str] = []
        for feed in Feed.objects.all():
            try:
                done.append(rebuild(feed, from_us, dry_run=options["dry_run"]))
            except DatabaseError:
                raise
            except Exception as error:
                faults.append(f"{feed.name}: nothing is changed: {_words(error)}")
        if options["json"]:
            self.print_json({"dry_run": options["dry_run"], "feeds": [_facts(d) for d in done]})
        else:
            for d in done:
                self.stdout.write(_line(d, dry_run=options["dry_run"]))
        unreadable = [str(span) for d in done for span in d.unreadable]
        for line in [*faults, *(f"{text}; what is stored of them stays" for text in unreadable)]:
            self.stderr.write(line)
        if faults or unreadable:
            raise SystemExit(2 if faults else 1)


def _words(error: Exception) -> str:
    expected = isinstance(error, (TelemetryError, OSError))
    return " ".join((database_words(error) if expected else repr(error)).split())


def _facts(done: Rebuilt) -> dict[str, Any]:
    return {
        "name": done.feed,
        "lines": done.lines,
        "events": done.events,
        "arcs": done.arcs,
        "events_changed": done.event_changes._asdict(),
        "arcs_changed": done.arc_changes._asdict(),
        "unreadable": [
            {
                "file": str(span.file),
                "byte": span.offset,
                "first": span.first_missing,
                "last": span.next_sequence - 1,
            }
            for span in done.unreadable
        ],
    }


def _line(done: Rebuilt, *, dry_run: bool) -> str:
    would = "would come to " if dry_run else ""
    return (
        f"{done.feed}: {would}{done.lines} lines, {done.events} events, {done.arcs} arcs; "
        f"events {_changes(done.event_changes)}; arcs {_changes(done.arc_changes)}"
    )


def _changes(changes: Changes) -> str:
    if not changes:
        return "unchanged"
    return f"{changes.added} added, {changes.removed} removed, {changes.changed} changed"


def _utc_us(text: str) -> int:
    try:
        day = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError as error:
        raise TelemetryError(f"--from: {text!r} is not a date, allowed: YYYY-MM-DD") from error
    return int(day.timestamp()) * 1_000_000
