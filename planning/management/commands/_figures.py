"""What commands that only reckon share: no database, one line for an error, one JSON object."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser


class _OneLineParser(CommandParser):
    """Says what is wrong with the options in one line, without the usage before it."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog.split()[-1]}: {' '.join(message.split())}\n")


class FigureCommand(BaseCommand):
    """A command that reads files, reckons and prints; bad input ends it with status 2."""

    requires_system_checks = []
    requires_migrations_checks = False

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        # Django makes its own parser class and offers no other way in.
        parser.__class__ = _OneLineParser
        return parser

    def fail(self, message: str) -> NoReturn:
        """One line on standard error, exit status 2."""
        print(" ".join(message.split()), file=sys.stderr)
        raise SystemExit(2)

    def fail_at(self, name: str, line: int, message: str) -> NoReturn:
        self.fail(f"{name}:{line}: {message}")

    def read_bytes(self, name: str) -> bytes:
        """A file's bytes; a file that cannot be read ends the command."""
        try:
            return Path(name).read_bytes()
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            self.fail_at(name, 1, f"cannot be read: {reason}")

    def print_json(self, figures: Mapping[str, Any]) -> None:
        print(json.dumps(figures, allow_nan=False, ensure_ascii=True))


def finite(text: str) -> float:
    """An option's number; argparse turns the ``ValueError`` into its message."""
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


finite.__name__ = "number"
