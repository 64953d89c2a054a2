"""A program, a table's motion and cutting figures make a plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planning.calc.motion import MOST, TableMotion, check_rate, move_times
from planning.calc.program import Note, Program, ProgramError
from planning.calc.program.contours import extents
from planning.calc.program.types import RAPID, Bools, Floats, Moves
from planning.calc.said import said
from planning.calc.units import looks_like_inch_mix


@dataclass(frozen=True, slots=True)
class Cutting:
    """Figures for one thickness: speed in mm/min (None: the program's own F words count),
    seconds of pierce delay and of touch-off, both per pierce. ``lift_s`` is the lift after each
    cut, counted with touch-off; ``settle_s`` what the height control needs after each pierce before
    the torch moves on, counted with the pierce. ``mark_speed_mm_min`` is for contours that mark,
    which have no pierce (None: their own F, else as cuts). Raises ``ValueError`` for figures that
    cannot be."""

    speed_mm_min: float | None
    pierce_delay_s: float = 0.0
    touch_off_s: float = 0.0
    lift_s: float = 0.0
    settle_s: float = 0.0
    mark_speed_mm_min: float | None = None

    def __post_init__(self) -> None:
        for name in ("speed_mm_min", "mark_speed_mm_min"):
            speed = getattr(self, name)
            if speed is not None:
                check_rate(name, speed)
        for name in ("pierce_delay_s", "touch_off_s", "lift_s", "settle_s"):
            value = getattr(self, name)
            if not 0 <= value <= MOST:
                raise ValueError(
                    said(
                        "{name} must not be below zero or above {most:g}, not {value:g}",
                        name=name,
                        most=MOST,
                        value=value,
                    )
                )


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
    """Plan ``program`` on a table.

    A move with the torch burning is cutting at ``cutting.speed_mm_min`` (or its own F), any other
    is travel at the table's rapid; a dwell with the torch burning is piercing, any other counts as
    travel time. Load, unload and set change are not in it. Raises ``ProgramError`` where a cut has
    no speed.
    """
    moves = program.moves
    notes = list(program.notes)
    speeds = _speeds(moves, motion, cutting, notes)
    _slow_marks(program, cutting, speeds, notes)
    times = move_times(moves, speeds, motion)
    arcs = len(program.arc_lines)
    cut_mm, cut_s = _by_arc(moves, moves.length_mm, arcs), _by_arc(moves, times, arcs)
    travel_mm, travel_s = _travel_by_arc(program, moves.length_mm), _travel(program, times)
    marks = np.isin(np.arange(arcs), list(program.marks))
    pierce_s = np.where(marks, 0.0, cutting.pierce_delay_s + cutting.settle_s)
    touch_off_s = cutting.touch_off_s + cutting.lift_s
    for dwell in program.dwells:
        if dwell.torch:
            pierce_s[dwell.arc] += dwell.seconds
    contours = tuple(
        ContourPlan(
            number=i + 1, line=program.arc_lines[i], cut_mm=float(cut_mm[i]),
            travel_mm=float(travel_mm[i]), pierces=int(not marks[i]), cut_s=float(cut_s[i]),
            pierce_s=float(pierce_s[i]), travel_s=float(travel_s[i]),
            touch_off_s=touch_off_s,
        )
        for i in range(arcs)
    )  # fmt: skip
    burning = np.flatnonzero(moves.torch)
    if not len(burning):
        notes.append(Note(program.last_line, said("nothing is cut")))
    arc_on_s = float(cut_s.sum() + pierce_s.sum())
    return Plan(
        cut_mm=float(cut_mm.sum()),
        travel_mm=float(travel_mm.sum()),
        pierces=int(arcs - marks.sum()),
        cut_s=float(cut_s.sum()),
        pierce_s=float(pierce_s.sum()),
        travel_s=float(travel_s.sum()),
        touch_off_s=arcs * touch_off_s,
        arc_on_s=arc_on_s,
        total_s=arc_on_s + float(travel_s.sum()) + arcs * touch_off_s,
        extents_mm=extents(moves, burning) if len(burning) else None,
        arcs=tuple(contour.arc_on_s for contour in contours),
        contours=contours,
        notes=tuple(sorted(notes, key=lambda note: note.line)),
    )


def _speeds(moves: Moves, motion: TableMotion, cutting: Cutting, notes: list[Note]) -> Floats:
    """mm/min asked of each move."""
    speed = np.full(len(moves), motion.rapid_mm_min)
    torch, fed = moves.torch, moves.feed_mm_min
    given = cutting.speed_mm_min
    if given is None:
        lacking = torch & np.isnan(fed) & (moves.length_mm > 0)
        if lacking.any():
            line = int(moves.line[lacking.argmax()])
            raise ProgramError(
                line, said("no cutting speed: none is given and the program has no F here")
            )
        speed[torch] = np.where(np.isnan(fed[torch]), motion.rapid_mm_min, fed[torch])
    else:
        speed[torch] = given
        _compare_feeds(moves, given, notes)
    _note_first(
        moves, torch & (moves.kind == RAPID), said("G0 with the torch burning: cutting"), notes
    )
    _note_first(
        moves, ~torch & (moves.kind != RAPID) & (moves.length_mm > 0),
        said("G1, G2 or G3 with the torch out: travel, timed at the rapid"), notes,
    )  # fmt: skip
    return speed


def _slow_marks(program: Program, cutting: Cutting, speeds: Floats, notes: list[Note]) -> None:
    """Put the speed of marking where the torch marks, and say how much that is."""
    if not program.marks:
        return
    moves = program.moves
    own = np.isin(moves.arc, list(program.marks))
    given = cutting.mark_speed_mm_min
    if given is not None:
        speeds[own] = given
    else:
        fed = own & np.isfinite(moves.feed_mm_min)
        speeds[fed] = moves.feed_mm_min[fed]
    text = said(
        "marking: contours {count}, length {0:.4g}, in cutting's length and time, without pierces",
        float(moves.length_mm[own].sum()),
        count=len(program.marks),
    )
    notes.append(Note(program.arc_lines[min(program.marks)], text))


def _compare_feeds(moves: Moves, given: float, notes: list[Note]) -> None:
    fed = moves.torch & np.isfinite(moves.feed_mm_min)
    for feed in np.unique(moves.feed_mm_min[fed]).tolist():
        if looks_like_inch_mix(feed, given):
            at = int((fed & (moves.feed_mm_min == feed)).argmax())
            text = said(
                "the program's feed of {0:/min} and the speed of {1:/min} are 25.4 apart: inches "
                "and millimetres may be mixed up",
                feed,
                given,
            )
            notes.append(Note(int(moves.line[at]), text))


def _note_first(moves: Moves, where: Bools, text: str, notes: list[Note]) -> None:
    if where.any():
        notes.append(Note(int(moves.line[where.argmax()]), text))


def _by_arc(moves: Moves, values: Floats, arcs: int) -> Floats:
    total = np.bincount(moves.arc + 1, weights=values, minlength=arcs + 1)
    return total[1:].astype(np.float64)


def _travel(program: Program, times: Floats) -> Floats:
    travel = _travel_by_arc(program, times)
    for dwell in program.dwells:
        if not dwell.torch:
            travel[dwell.arc] += dwell.seconds
    return travel


def _travel_by_arc(program: Program, values: Floats) -> Floats:
    """Sum of ``values`` over the moves with the torch out before each arc; one entry more for the
    way after the last."""
    out = np.flatnonzero(~program.moves.torch)
    lit_before = np.searchsorted(np.array(program.arc_starts, dtype=np.int64), out, side="right")
    total = np.bincount(lit_before, weights=values[out], minlength=len(program.arc_starts) + 1)
    return total.astype(np.float64)
