"""The path as it is being read, kept sparse, made into arrays at the end."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from planning.calc.program.types import (
    RAPID,
    Bools,
    Dwell,
    Floats,
    Indices,
    Ints,
    Moves,
    ProgramError,
)
from planning.calc.said import said

MOST_MM = 1e6
EXACT_STOP = -1.0


@dataclass(slots=True)
class Track:
    """Moves read so far. Whatever seldom changes is kept as (index of first move, value).

    ``arcs`` are (index, cx, cy, sweep, radius); ``inverse`` are moves in inverse time as (index,
    moves a minute, slowest mm/min); ``paths`` hold EXACT_STOP, or the tolerance of G64 (NaN: none);
    ``units`` the mm in a program unit. ``decimals`` are those that places are written with.
    """

    kind: array[int] = field(default_factory=lambda: array("b"))
    x: array[float] = field(default_factory=lambda: array("d"))
    y: array[float] = field(default_factory=lambda: array("d"))
    line: array[int] = field(default_factory=lambda: array("i"))
    arcs: list[tuple[int, float, float, float, float]] = field(default_factory=list)
    feeds: list[tuple[int, float]] = field(default_factory=list)
    inverse: list[tuple[int, float, float]] = field(default_factory=list)
    paths: list[tuple[int, float]] = field(default_factory=list)
    stops: list[int] = field(default_factory=list)
    on: list[int] = field(default_factory=list)
    off: list[int] = field(default_factory=list)
    on_lines: list[int] = field(default_factory=list)
    marks: list[int] = field(default_factory=list)
    dwells: list[Dwell] = field(default_factory=list)
    units: list[tuple[int, float]] = field(default_factory=list)
    decimals: int = 0

    @property
    def burning(self) -> bool:
        return len(self.on) > len(self.off)

    def extend(self, kind: Floats, x: Floats, y: Floats, line: Indices) -> None:
        """Many moves at once, arrays of one entry a move."""
        self.kind.frombytes(kind.astype(np.int8).tobytes())
        self.x.frombytes(x.tobytes())
        self.y.frombytes(y.tobytes())
        self.line.frombytes(line.astype(np.intc).tobytes())

    def rest(self) -> None:
        """The table comes to rest here."""
        if self.x:
            self.stops.append(len(self.x) - 1)

    def torch_on(self, line: int, *, marks: bool = False) -> None:
        self.rest()
        if marks:
            self.marks.append(len(self.on))
        self.on.append(len(self.x))
        self.on_lines.append(line)

    def torch_off(self) -> None:
        self.rest()
        self.off.append(len(self.x))

    def dwell(self, line: int, seconds: float) -> None:
        self.rest()
        arc = len(self.on) - 1 if self.burning else len(self.on)
        self.dwells.append(Dwell(line, seconds, self.burning, arc))

    def moves(self) -> Moves:
        """The arrays. Raises ``ProgramError`` for a place no table reaches."""
        n = len(self.x)
        x, y = np.array(self.x, dtype=np.float64), np.array(self.y, dtype=np.float64)
        line = np.array(self.line, dtype=np.int32)
        out = ~((np.abs(x) <= MOST_MM) & (np.abs(y) <= MOST_MM))
        if out.any():
            raise ProgramError(
                int(line[out.argmax()]),
                said("over {most_mm:g} km from the start", most_mm=MOST_MM / 1e6),
            )
        sweep, cx, cy, length = self._lengths(x, y)
        torch, arc = self._torch(n)
        stop = np.zeros(n, dtype=np.bool_)
        stop[self.stops] = True
        path = _spread(self.paths, n, np.nan)
        kind = np.array(self.kind, dtype=np.int8)
        return Moves(
            kind=kind, x=x, y=y, cx=cx, cy=cy, sweep_rad=sweep, length_mm=length,
            feed_mm_min=self._feeds(kind, length), torch=torch, exact_stop=path < 0,
            tolerance_mm=np.where(path < 0, np.nan, path), stop_after=stop, arc=arc, line=line,
            step_mm=self._step_mm(n),
        )  # fmt: skip

    def _step_mm(self, n: int) -> float:
        """The step of the last decimal, in the unit that most moves are in."""
        spans = np.diff([*(at for at, _ in self.units), n])
        unit = self.units[int(spans.argmax())][1] if self.units else 1.0
        return float(unit * 10.0**-self.decimals)

    def _lengths(self, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        length = np.hypot(np.diff(x, prepend=0.0), np.diff(y, prepend=0.0))
        sweep, cx, cy = np.zeros_like(x), np.zeros_like(x), np.zeros_like(x)
        if self.arcs:
            at = np.array([a[0] for a in self.arcs])
            values = np.array([a[1:] for a in self.arcs])
            cx[at], cy[at], sweep[at] = values[:, 0], values[:, 1], values[:, 2]
            length[at] = np.abs(values[:, 2]) * values[:, 3]
        return sweep, cx, cy, length

    def _torch(self, n: int) -> tuple[Bools, Ints]:
        arc = np.full(n, -1, dtype=np.int32)
        ends = [*self.off, n] if self.burning else self.off
        for number, (start, end) in enumerate(zip(self.on, ends, strict=True)):
            arc[start:end] = number
        return arc >= 0, arc

    def _feeds(self, kind: npt.NDArray[np.int8], length: Floats) -> Floats:
        feed = _spread(self.feeds, len(length), np.nan)
        if self.inverse:
            at = np.array([i for i, _, _ in self.inverse])
            per_min = np.array([f for _, f, _ in self.inverse])
            slowest = np.array([s for _, _, s in self.inverse])
            feed[at] = np.maximum(per_min * length[at], slowest)
        feed[kind == RAPID] = np.nan
        return feed


def _spread(changes: list[tuple[int, float]], n: int, first: float) -> Floats:
    """A value a move from (index of first move, value) pairs in order."""
    at = [0, *(i for i, _ in changes), n]
    values = np.array([first, *(v for _, v in changes)], dtype=np.float64)
    return np.repeat(values, np.diff(at))
