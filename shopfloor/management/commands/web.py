"""`web [--bind 127.0.0.1] [--port 8000] [--threads 8]`: the web pages, and nothing else."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings

from shopfloor.web.hosts import is_loopback, own_hosts
from shopfloor.web.server import serve
from telemetry.database import NotReady, refuse_half_restored
from telemetry.management.base import OneLineCommand
from telemetry.privacy import protect


class Command(OneLineCommand):
    help = "Serves the web pages; `start` runs it."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--bind", default="127.0.0.1", help="address to listen on")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--threads", type=int, default=8, help="requests answered at once")

    def handle(self, *args: Any, **options: Any) -> None:
        bind, port = options["bind"], options["port"]
        try:
            refuse_half_restored()
            Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)
            for line in protect(Path(settings.DATA_DIR)):
                self.stderr.write(line)
            from shopfloor.wsgi import application  # looks for the folder when it is made

            answering = application if is_loopback(bind) else own_hosts(application)
            serve(answering, bind, port, max(1, options["threads"]))
        except NotReady as problem:
            self.stderr.write(f"{problem} ({problem.hint})")
            raise SystemExit(2) from problem
        except (OSError, ValueError) as problem:
            self.stderr.write(f"{bind}:{port}: {getattr(problem, 'strerror', None) or problem}")
            raise SystemExit(2) from problem
