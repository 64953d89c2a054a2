"""`addfeed NAME FEED.toml`: registers or changes a signal source."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.db import Error as DatabaseError

from shopfloor.audit.actor import acting
from shopfloor.sources.services import source_register, source_token_issue
from telemetry.database import NotReady, ensure_database
from telemetry.errors import DescriptionError, TelemetryError
from telemetry.management.base import OneLineCommand, database_words


class Command(OneLineCommand):
    help = "Registers a signal source, or gives it a new description. A missing table is made."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="what the source is called")
        parser.add_argument("path", metavar="FEED.toml", type=Path, help="its description")
        parser.add_argument(
            "--token", action="store_true", help="issue a collector's token, shown this once"
        )
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["path"]
        token = None
        try:
            text = _text(path)
            ensure_database()
            with acting("command addfeed", why=str(path)):
                done = source_register(
                    name=options["name"], text=text, by="command addfeed", source_name=str(path)
                )
                if options["token"]:
                    token = source_token_issue(feed=done.feed, by="command addfeed")
        except NotReady as problem:
            print(f"{problem} ({problem.hint})", file=sys.stderr)
            sys.exit(2)
        except TelemetryError as problem:
            print(_one_line(problem.message, path), file=sys.stderr)
            sys.exit(2)
        except (DatabaseError, OSError) as problem:
            print(database_words(problem), file=sys.stderr)
            sys.exit(2)
        feed = done.feed
        if options["json"]:
            told: dict[str, Any] = {
                "name": feed.name,
                "table": feed.table,
                "torch": feed.torch or None,
                "kind": feed.kind,
                "version": feed.version,
                "changed": done.changed,
                "new_table": done.new_table,
            }
            if token is not None:
                told["token"] = token
            print(json.dumps(told))
            return
        what = f"version {feed.version}" if done.changed else f"version {feed.version}, unchanged"
        made = ", table made" if done.new_table else ""
        print(f"{feed.name}: {feed.kind} source of table {feed.table}, {what}{made}")
        if token is not None:
            print(f"token (not shown again; the one before ends): {token}")


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise DescriptionError(f"{path}:1: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise DescriptionError(f"{path}:1: not UTF-8 text") from error


def _one_line(message: str, path: Path) -> str:
    line = " ".join(message.split())
    return line if line.startswith(f"{path}:") else f"{path}:1: {line}"
