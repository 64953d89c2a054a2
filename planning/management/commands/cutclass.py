"""Class a measured cut by ISO 9013."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from planning.calc.quality import QualityError, classify
from planning.management.commands._figures import FigureCommand, finite


class Command(FigureCommand):
    help = "Class a plasma cut by ISO 9013: ranges of u and Rz5, and the designation."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--u", type=finite, required=True, metavar="MM")
        parser.add_argument("--rz5", type=finite, required=True, metavar="UM")
        parser.add_argument("--thickness", type=finite, required=True, metavar="MM")
        parser.add_argument("--json", action="store_true", dest="as_json")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found = classify(options["u"], options["rz5"], options["thickness"])
        except QualityError as error:
            self.fail(f"cutclass: {error}")
        if options["as_json"]:
            self.print_json(
                {
                    "u_range": found.u_range,
                    "rz5_range": found.rz5_range,
                    "designation": found.designation,
                }
            )
            return
        print(f"u range      {found.u_range or 'outside (above range 5)'}")
        print(f"Rz5 range    {found.rz5_range or 'outside (above range 4)'}")
        print(f"designation  {found.designation or 'none: a range is outside'}")
