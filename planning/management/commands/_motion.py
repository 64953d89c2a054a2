"""Options of a table's motion and dialect, shared by the commands that plan programs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.management.base import CommandParser

from planning.calc.motion import TableMotion
from planning.calc.program import Dialect
from planning.management.commands._figures import finite


def add_motion_options(parser: CommandParser) -> None:
    parser.add_argument("--speed", type=finite, metavar="MM_MIN", help="default: the program's F")
    parser.add_argument("--accel", type=finite, required=True, metavar="MM_S2")
    parser.add_argument("--rapid", type=finite, required=True, metavar="MM_MIN")
    parser.add_argument("--pierce-delay", type=finite, metavar="S")
    parser.add_argument("--touch-off", type=finite, metavar="S")
    parser.add_argument(
        "--corner", choices=("stop", "blend"), help="default: the program's G61 or G64"
    )
    parser.add_argument("--tolerance", type=finite, metavar="MM", help="of a blended corner")
    parser.add_argument("--axis-accel", type=finite, nargs=2, metavar=("X", "Y"), help="mm/s2")
    parser.add_argument("--axis-speed", type=finite, nargs=2, metavar=("X", "Y"), help="mm/min")
    parser.add_argument("--jerk", type=finite, metavar="MM_S3")
    parser.add_argument("--blocks-per-s", type=finite, metavar="N", help="the control reads")
    parser.add_argument("--torch-on", default="M3", metavar="M3", help="several: M3,M7")
    parser.add_argument("--torch-mark", default="", metavar="M7", help="lights it to mark")
    parser.add_argument("--torch-off", default="M5", metavar="M5")
    parser.add_argument("--dwell-unit", choices=("s", "ms"), default="s")
    parser.add_argument("--dwell-word", choices=("P", "X"), default="P")
    parser.add_argument("--arc-centres", choices=("relative", "absolute"), default="relative")
    parser.add_argument("--inch", action="store_true", help="until the program says G20 or G21")


def motion_of(options: Mapping[str, Any]) -> TableMotion:
    """Raises ``ValueError`` for figures no table has."""
    accel, speed = (options[name] or (None, None) for name in ("axis_accel", "axis_speed"))
    return TableMotion(
        options["accel"], options["rapid"], options["corner"], options["tolerance"],
        accel_x_mm_s2=accel[0], accel_y_mm_s2=accel[1], speed_x_mm_min=speed[0],
        speed_y_mm_min=speed[1], jerk_mm_s3=options["jerk"], blocks_per_s=options["blocks_per_s"],
    )  # fmt: skip


def dialect_of(options: Mapping[str, Any]) -> Dialect:
    return Dialect(
        torch_on=tuple(options["torch_on"].split(",")),
        torch_mark=tuple(filter(None, options["torch_mark"].split(","))),
        torch_off=tuple(options["torch_off"].split(",")),
        dwell_word=options["dwell_word"],
        dwell_unit=options["dwell_unit"],
        arc_centres_absolute=options["arc_centres"] == "absolute",
        inch=options["inch"],
    )
