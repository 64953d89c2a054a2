"""A program, a table's motion and cutting figures make a plan."""

from __future__ import annotations

from dataclasses import dataclass

from planning.calc.motion import TableMotion
from planning.calc.program import Note, Program


@dataclass(frozen=True, slots=True)
class Cutting:
    """Figures for one thickness: speed in mm/min (None: the program's own F words count),
    seconds of pierce delay and of touch-off, both per pierce."""

    speed_mm_min: float | None
    pierce_delay_s: float = 0.0
    touch_off_s: float = 0.0


@dataclass(frozen=True, slots=True)
class ContourPlan:
    """One contour's share: lengths in mm, times in s, pierce and touch-off included apart."""

    number: int
    line: int
    cut_mm: float
    travel_mm: float
    pierces: int
    cut_s: float
    pierce_s: float
    travel_s: float
    touch_off_s: float

    @property
    def arc_on_s(self) -> float:
        return self.pierce_s + self.cut_s


@dataclass(frozen=True, slots=True)
class Plan:
    """What a program should take. ``extents_mm`` is (xmin, ymin, xmax, ymax) of the cutting, None
    where nothing is cut. ``arcs`` has the seconds of each arc, pierce included. ``arc_on_s`` =
    pierce + cut; ``total_s`` = arc on + travel + touch-off."""

    cut_mm: float
    travel_mm: float
    pierces: int
    cut_s: float
    pierce_s: float
    travel_s: float
    touch_off_s: float
    arc_on_s: float
    total_s: float
    extents_mm: tuple[float, float, float, float] | None
    arcs: tuple[float, ...]
    contours: tuple[ContourPlan, ...]
    notes: tuple[Note, ...]


def plan_program(program: Program, motion: TableMotion, cutting: Cutting) -> Plan:
    """Plan ``program`` on a table. Raises ``ProgramError`` where a cut has no speed."""
    raise NotImplementedError
