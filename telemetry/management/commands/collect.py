"""`collect FEED.toml --to URL --token-file FILE [--once]`: reads beside the table, forwards."""

from __future__ import annotations

import json
import logging
import signal
import sys
import threading
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser

from telemetry.collector import collect_once, collect_until
from telemetry.collector.client import Target
from telemetry.description import read_description
from telemetry.errors import TelemetryError
from telemetry.management.base import OneLineCommand
from telemetry.privacy import protect


class Command(OneLineCommand):
    """Needs a data folder and nothing else: no database, no web."""

    help = "Read a source beside the table and forward it to a pushed feed."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("feed", metavar="FEED.toml", type=Path)
        parser.add_argument("--to", required=True, metavar="URL", help="https://.../intake/NAME/")
        parser.add_argument("--token-file", required=True, type=Path, metavar="FILE")
        parser.add_argument("--ca", type=Path, metavar="FILE", help="certificates to trust")
        parser.add_argument("--plain-http", action="store_true",
                            help="send the token unencrypted to another machine")  # fmt: skip
        parser.add_argument("--once", action="store_true", help="read what is there, send, end")
        parser.add_argument("--keep-days", type=float, default=14.0, metavar="DAYS",
                            help="how long sent records stay here (default 14)")  # fmt: skip
        parser.add_argument("--json", action="store_true", help="with --once: one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        logging.basicConfig(stream=sys.stderr, format="%(asctime)s %(message)s")
        logging.getLogger("telemetry").setLevel(logging.INFO)
        try:
            self._collect(options)
        except (TelemetryError, OSError) as error:
            hint = getattr(error, "hint", "")
            message = f"{error} ({hint})" if hint else str(error)
            self.stderr.write(" ".join(message.split()))
            raise SystemExit(2) from error

    def _collect(self, options: dict[str, Any]) -> None:
        description = read_description(options["feed"])
        target = Target(options["to"], options["token_file"], options["ca"], options["plain_http"])
        target.parts()
        for line in protect(Path(settings.DATA_DIR)):
            self.stderr.write(line)
        folder = Path(settings.DATA_DIR) / "collect"
        keep_days = options["keep_days"]
        if not options["once"]:
            stop = threading.Event()
            for number in (signal.SIGTERM, signal.SIGINT):
                signal.signal(number, lambda *_: stop.set())
            collect_until(description, target, folder, stop, keep_days=keep_days)
            return
        sent, waiting = collect_once(description, target, folder, keep_days=keep_days)
        if options["json"]:
            self.stdout.write(json.dumps({"feed": target.feed, "sent": sent, "waiting": waiting}))
        else:
            self.stdout.write(f"{target.feed}: {sent} records sent, {waiting} wait")
