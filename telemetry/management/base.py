"""What intake's commands share: a database that is there, and one line of error with status 2."""

from __future__ import annotations

import json
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser
from django.db import Error as DatabaseError
from django.db import connection

from telemetry.database import ensure_database
from telemetry.errors import DescriptionError, TelemetryError
from telemetry.models import Feed


class _OneLineParser(CommandParser):
    """Says what is wrong with the options in one line, without the usage before it."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog.split()[-1]}: {' '.join(message.split())}\n")


class OneLineCommand(BaseCommand):
    """A command whose options, too, are refused in one line."""

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        # Django makes its own parser class and offers no other way in.
        parser.__class__ = _OneLineParser
        return parser


class IntakeCommand(OneLineCommand):
    """`run` does the work; what it raises of the expected kinds becomes one line and status 2."""

    requires_system_checks = ()

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if self.needs_database(**options):
                ensure_database()
            self.run(**options)
        except (TelemetryError, DatabaseError, OSError) as error:
            hint = getattr(error, "hint", "")
            message = f"{error} ({hint})" if hint else database_words(error)
            self.stderr.write(" ".join(message.split()))
            raise SystemExit(2) from error

    def needs_database(self, **options: Any) -> bool:
        """Whether to make sure of it before anything else."""
        return True

    def run(self, **options: Any) -> None:
        raise NotImplementedError

    def print_json(self, values: dict[str, Any]) -> None:
        self.stdout.write(json.dumps(values))


def database_words(error: Exception) -> str:
    """What went wrong; a database's own words do not say which one it is."""
    if isinstance(error, DatabaseError):
        return f"database {connection.settings_dict['NAME']}: {error}"
    return str(error)


def feed_named(name: str) -> Feed:
    """Raises DescriptionError with the names there are."""
    feed = Feed.objects.filter(name=name).first()
    if feed is None:
        names = ", ".join(Feed.objects.values_list("name", flat=True)) or "none yet"
        raise DescriptionError(f"no feed is called {name!r}, there are: {names}")
    return feed
