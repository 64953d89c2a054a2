"""Plan one cut program from its own bytes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.management.base import CommandParser

from planning.calc.chart import ChartError, ChartFigure, lookup, read_chart
from planning.calc.motion import TableMotion
from planning.calc.plan import Cutting, Plan, plan_program
from planning.calc.program import Contour, Dialect, Program, ProgramError, read_program
from planning.calc.program.checks import crossing_notes
from planning.calc.units import Thickness, UnitError
from planning.management.commands._figures import FigureCommand
from planning.management.commands._motion import add_motion_options, dialect_of, motion_of


class Command(FigureCommand):
    help = "Lengths and times of one cut program: cutting, piercing, travel."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("program")
        add_motion_options(parser)
        chart = parser.add_argument_group("cut chart, in place of speed and delays")
        chart.add_argument("--chart", metavar="CSV")
        chart.add_argument("--set", dest="set_name", metavar="S")
        chart.add_argument("--material", metavar="M")
        chart.add_argument("--thickness", metavar="MM", help="6, 1/4 in, 16 ga")
        chart.add_argument("--edge-start", action="store_true", help="allow above the pierce limit")
        parser.add_argument("--json", action="store_true", dest="as_json")

    def handle(self, *args: Any, **options: Any) -> None:
        figure = self._figure(options)
        try:
            dialect, motion = dialect_of(options), motion_of(options)
            cutting = _cutting(options, figure)
        except ValueError as error:
            self.fail(f"plancut: {error}")
        program, plan = self._plan(options["program"], dialect, motion, cutting)
        if options["as_json"]:
            said = _as_json(plan, figure, cutting)
            said["contours"] = [_contour(contour) for contour in program.contours]
            crossed = crossing_notes(program.contours)
            said["notes"] += [{"line": note.line, "text": note.text} for note in crossed]
            self.print_json(said)
        else:
            print(_summary(options["program"], plan, figure, cutting))

    def _plan(
        self, name: str, dialect: Dialect, motion: TableMotion, cutting: Cutting
    ) -> tuple[Program, Plan]:
        text = self.read_bytes(name)
        try:
            program: Program = read_program(text, dialect)
            return program, plan_program(program, motion, cutting)
        except ProgramError as error:
            self.fail_at(name, error.line, error.message)

    def _figure(self, options: Mapping[str, Any]) -> ChartFigure | None:
        chart = options["chart"]
        asked = ("set_name", "material", "thickness")
        if chart is None:
            if any(options[name] is not None for name in asked):
                self.fail("plancut: --set, --material and --thickness need --chart")
            return None
        if any(options[name] is None for name in asked):
            self.fail("plancut: --chart needs --set, --material and --thickness")
        if any(options[name] is not None for name in ("speed", "pierce_delay", "touch_off")):
            self.fail("plancut: --chart takes the place of --speed, --pierce-delay and --touch-off")
        try:
            thickness = Thickness.parse(options["thickness"], options["material"])
            return lookup(
                read_chart(self.read_bytes(chart)), options["set_name"], options["material"],
                thickness.nominal_mm, edge_start=options["edge_start"],
            )  # fmt: skip
        except UnitError as error:
            self.fail(f"plancut: --thickness: {error}")
        except ChartError as error:
            self.fail_at(chart, error.line, error.message)


def _cutting(options: Mapping[str, Any], figure: ChartFigure | None) -> Cutting:
    if figure is None:
        return Cutting(
            options["speed"], options["pierce_delay"] or 0.0, options["touch_off"] or 0.0
        )
    row = figure.row
    return Cutting(row.speed_mm_min, row.pierce_delay_s or 0.0, row.touch_off_s or 0.0)


def _warnings(figure: ChartFigure | None) -> list[str]:
    if figure is None:
        return []
    blank = [
        f"the chart has no {name}: taken as none"
        for name, value in (
            ("pierce delay", figure.row.pierce_delay_s),
            ("touch-off", figure.row.touch_off_s),
        )
        if value is None
    ]
    return [*figure.warnings, *blank]


def _as_json(plan: Plan, figure: ChartFigure | None, cutting: Cutting) -> dict[str, Any]:
    said: dict[str, Any] = {
        "cut_mm": plan.cut_mm,
        "travel_mm": plan.travel_mm,
        "pierces": plan.pierces,
        "cut_s": plan.cut_s,
        "pierce_s": plan.pierce_s,
        "travel_s": plan.travel_s,
        "touch_off_s": plan.touch_off_s,
        "arc_on_s": plan.arc_on_s,
        "total_s": plan.total_s,
        "extents_mm": None if plan.extents_mm is None else list(plan.extents_mm),
        "arcs": list(plan.arcs),
        "notes": [{"line": note.line, "text": note.text} for note in plan.notes],
    }
    if figure is not None:
        said["chart"] = {
            "lines": [row.line for row in figure.rows],
            "speed_mm_min": cutting.speed_mm_min,
            "pierce_delay_s": figure.row.pierce_delay_s,
            "touch_off_s": figure.row.touch_off_s,
            "start": figure.start,
            "warnings": _warnings(figure),
        }
    return said


def _contour(contour: Contour) -> dict[str, Any]:
    """``inside`` is the outline a hole is cut in; a part cut within a hole is in none. ``part`` is
    the contour that its part is named after, ``parts`` how many are named after this one."""
    hole = contour.area_mm2 is not None and contour.net_area_mm2 is None
    return {
        "number": contour.number,
        "line": contour.line,
        "length_mm": contour.length_mm,
        "closed": contour.closed,
        "area_mm2": contour.area_mm2,
        "inside": contour.inside if hole else None,
        "part": contour.outer,
        "parts": contour.parts if contour.outer == contour.number else 0,
    }


def _summary(name: str, plan: Plan, figure: ChartFigure | None, cutting: Cutting) -> str:
    speed = "the program's F" if cutting.speed_mm_min is None else f"{cutting.speed_mm_min:.0f}"
    lines = [
        f"{name}: {plan.pierces} pierces, speed {speed} mm/min",
        f"  cutting    {plan.cut_mm:12.1f} mm {plan.cut_s:10.1f} s",
        f"  piercing   {'':15} {plan.pierce_s:10.1f} s",
        f"  arc on     {'':15} {plan.arc_on_s:10.1f} s",
        f"  travel     {plan.travel_mm:12.1f} mm {plan.travel_s:10.1f} s",
        f"  touch-off  {'':15} {plan.touch_off_s:10.1f} s",
        f"  total      {'':15} {plan.total_s:10.1f} s",
    ]
    if plan.extents_mm is not None:
        xmin, ymin, xmax, ymax = plan.extents_mm
        lines.append(f"  extents    X {xmin:.1f} to {xmax:.1f}, Y {ymin:.1f} to {ymax:.1f} mm")
    if figure is not None:
        lines.append(f"  chart line {' and '.join(str(row.line) for row in figure.rows)}")
    lines += [f"  note: {text}" for text in _warnings(figure)]
    lines += [f"  line {note.line}: {note.text}" for note in plan.notes]
    return "\n".join(lines)
