"""`bench NAME [--quick] [--json]`: our figure, the reference of the same run, the ratio."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from importlib import import_module
from typing import Any

from telemetry.management.base import OneLineCommand

# A module with run(*, quick: bool) -> dict and table(dict) -> list[str].
BENCHES = {
    "intake": "telemetry.bench.intake",
    "board": "dashboards.bench.board",
    "plan": "planning.bench.plan",
    "kill": "telemetry.bench.kill",
    "tomorrow": "dashboards.bench.tomorrow",
    "life": "dashboards.bench.life",
}


class Command(OneLineCommand):
    help = "Measure a part of Kerfbook against a reference, on data of its own."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", choices=sorted(BENCHES))
        parser.add_argument("--quick", action="store_true", help="a smaller, rougher run")
        parser.add_argument(
            "--rounds", type=int, metavar="N", help="of kill: how often intake is killed"
        )
        parser.add_argument("--part", choices=["live"], help="of intake: this part alone")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        module = import_module(BENCHES[options["name"]])
        more: dict[str, Any] = {"rounds": options["rounds"]} if options["name"] == "kill" else {}
        if options["part"] and options["name"] == "intake":
            more = {"part": options["part"]}
        answer = module.run(quick=options["quick"], **more)
        if options["json"]:
            self.stdout.write(json.dumps({"name": options["name"], **answer}))
        else:
            for line in module.table(answer):
                self.stdout.write(line)
        if not answer.get("met", True):
            sys.exit(1)
