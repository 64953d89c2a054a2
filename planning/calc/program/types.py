"""What a cut program is once it is read: moves as arrays, dwells, contours, notes.

Units: mm, mm/min, s, rad. Angles are positive counter-clockwise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from planning.calc.program.codes import code_number
from planning.calc.said import said

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int32]
Indices = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]

COMMENT_MARKS = ";'!"
RAPID, LINE, ARC_CW, ARC_CCW = 0, 1, 2, 3


class ProgramError(ValueError):
    """The program cannot be read, or reading on would guess at its path.

    ``line`` counts from 1; ``message`` is for the person who wrote the program.
    """

    def __init__(self, line: int, message: str) -> None:
        super().__init__(said("line {line}: {message}", line=line, message=message))
        self.line = line
        self.message = message

    def __reduce__(self) -> tuple[type[ProgramError], tuple[int, str]]:
        return type(self), (self.line, self.message)


@dataclass(frozen=True, slots=True)
class Note:
    """Something read past or decided, with its line (from 1)."""

    line: int
    text: str


@dataclass(frozen=True, slots=True)
class Dialect:
    """What ISO 6983 leaves to the maker of the control.

    ``torch_on`` and ``torch_off`` are codes as written, M3 and M03 alike; ``torch_mark`` light the
    torch to mark and not to cut. ``dwell_word`` carries
    the time of a G4 in ``dwell_unit``. ``arc_centres_absolute`` and ``inch`` hold until the program
    says otherwise (G90.1/G91.1, G20/G21). ``arc_tolerance_mm`` replaces the 0.002 mm or 0.0002 in
    by which the start and end radius of an arc may differ (NISTIR 6556). ``comment_marks`` are the
    characters that make the rest of a line a comment, beside ( ); ``variables`` says that ``#1=2``
    and ``X[#1*2]`` are worked out.
    Raises ``ValueError`` where a torch code is no M code or lights and puts
    out at once, and for other comment marks than ``COMMENT_MARKS``.
    """

    torch_on: tuple[str, ...] = ("M3",)
    torch_off: tuple[str, ...] = ("M5",)
    dwell_word: Literal["P", "X"] = "P"
    dwell_unit: Literal["s", "ms"] = "s"
    arc_centres_absolute: bool = False
    inch: bool = False
    arc_tolerance_mm: float | None = None
    comment_marks: str = ";"
    variables: bool = True
    torch_mark: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not set(self.comment_marks) <= set(COMMENT_MARKS):
            raise ValueError(
                said("a comment begins with one of {comment_marks}", comment_marks=COMMENT_MARKS)
            )
        if self.mark_codes & frozenset(code_number(code) for code in self.torch_on):
            raise ValueError(said("the same code lights the torch to cut and to mark"))
        if self.on_codes & self.off_codes:
            raise ValueError(said("the same code lights the torch and puts it out"))

    @property
    def on_codes(self) -> frozenset[float]:
        """All that light the torch, to cut or to mark."""
        return self.mark_codes | frozenset(code_number(code) for code in self.torch_on)

    @property
    def mark_codes(self) -> frozenset[float]:
        return frozenset(code_number(code) for code in self.torch_mark)

    @property
    def off_codes(self) -> frozenset[float]:
        return frozenset(code_number(code) for code in self.torch_off)


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """Every X and Y move of the program in order; all arrays have one entry a move.

    A move starts where the one before ended, the first one at X0 Y0. ``sweep_rad`` is signed and
    0 for a straight move; ``cx``/``cy`` are centres, 0 for straight moves. ``feed_mm_min`` is NaN
    where no F was in force. ``stop_after`` says that the table comes to rest at the end of the move
    whatever the corner (torch change, dwell, a move of Z alone, a pause). ``exact_stop`` is G61 or
    G61.1; ``tolerance_mm`` is the P of G64, NaN where it had none. ``line`` counts from 1.
    ``step_mm`` is the step of the last decimal the program's places are written with, 0 where they
    are exact.
    """

    kind: npt.NDArray[np.int8]
    x: Floats
    y: Floats
    cx: Floats
    cy: Floats
    sweep_rad: Floats
    length_mm: Floats
    feed_mm_min: Floats
    torch: Bools
    exact_stop: Bools
    tolerance_mm: Floats
    stop_after: Bools
    arc: Ints
    line: Ints
    step_mm: float = 0.0

    def __len__(self) -> int:
        return len(self.x)

    @property
    def x0(self) -> Floats:
        return np.concatenate(([0.0], self.x[:-1])) if len(self.x) else self.x

    @property
    def y0(self) -> Floats:
        return np.concatenate(([0.0], self.y[:-1])) if len(self.y) else self.y


@dataclass(frozen=True, slots=True)
class Dwell:
    """A G4: its seconds, whether the torch burnt, and the arc (from 0) it lies in; with the torch
    out, the arc it comes before."""

    line: int
    seconds: float
    torch: bool
    arc: int


@dataclass(frozen=True, slots=True, eq=False)
class Contour:
    """One torch-on interval, numbered from 1 in the order of cutting.

    ``points`` is an (n, 2) array for drawing, arcs chorded finely; ``extents_mm`` is (xmin, ymin,
    xmax, ymax) of the true arcs. ``area_mm2`` is the area the contour itself encloses and
    ``net_area_mm2`` that less the contours cut directly inside it; both None where the path does
    not close, ``net_area_mm2`` also for a contour that lies inside another (a hole).
    ``lead_in_mm`` and ``lead_out_mm`` are part of ``length_mm``. A contour that does not close by
    itself but borrows its last edge from another has that one's number in ``common_with``, the
    edge's length in ``common_mm``, and areas.

    ``outer`` is the number of the contour that its part is named after: its own where it makes
    parts, ``parts`` of them. A contour may make several (a chain in one torch-on path, the last
    cut through a grid), and several make one (tabs). ``faces`` are the rings of the parts where
    they are not simply what the contour encloses; ``edges`` other contours that are edges of them;
    ``share`` what of its own arc it carries by its edges, where edges are common. One that
    ``marks`` cuts nothing: it has neither area nor pierce and is of the part it lies on.
    """

    number: int
    line: int
    start: tuple[float, float]
    length_mm: float
    travel_before_mm: float
    pierces: int
    extents_mm: tuple[float, float, float, float]
    closed: bool
    clockwise: bool | None
    area_mm2: float | None
    net_area_mm2: float | None
    inside: int | None
    points: Floats
    lead_in_mm: float = 0.0
    lead_out_mm: float = 0.0
    common_with: int | None = None
    common_mm: float = 0.0
    outer: int = 0
    parts: int = 1
    faces: tuple[Floats, ...] = ()
    edges: tuple[int, ...] = ()
    share: float = 1.0
    marks: bool = False


@dataclass(frozen=True, eq=False)
class Program:
    """A program as read.

    ``arc_lines`` has the line of each torch on in order, ``arc_starts`` the index of the first move
    after it. ``last_line`` is the last line read. ``marks`` are the arcs, from 0, that mark.
    """

    moves: Moves
    dwells: tuple[Dwell, ...]
    arc_lines: tuple[int, ...]
    arc_starts: tuple[int, ...]
    notes: tuple[Note, ...]
    blocks: int
    last_line: int
    left_burning: bool = False
    marks: frozenset[int] = frozenset()

    @cached_property
    def contours(self) -> tuple[Contour, ...]:
        """The contours in cut order; worked out on first use, since a plan needs none of it."""
        from planning.calc.program.contours import contours_of

        return contours_of(self)

    def find_contours(self, tell: Callable[[int, int], None]) -> tuple[Contour, ...]:
        """``contours``, telling now and then how many of how many are found. What ``tell`` raises
        ends the search, and nothing of it is kept."""
        from planning.calc.program.contours import contours_of

        self.__dict__["contours"] = contours_of(self, tell)
        return self.contours

    @cached_property
    def path_hash(self) -> str:
        """SHA-256 (hex) of where the torch goes and burns, to 0.0001 mm: the same for two programs
        that differ in comments, numbering, units or feed."""
        from planning.calc.program.fingerprint import path_hash_of

        return path_hash_of(self)
