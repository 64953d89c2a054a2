"""What a drawing is once it is read: contours by layer, with what was found odd on the way.

Units: mm and mm2, in the drawing's own axes, Y up.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from planning.calc.drawing.curves import Box, Curve, Point
from planning.calc.drawing.quadrature import Floats
from planning.calc.said import said

Role = Literal["cut", "mark", "ignore"]
ROLES: tuple[Role, ...] = ("cut", "mark", "ignore")
Kind = Literal["outer", "hole", "island", "open"]
GAP_MM = 0.05


_WRITTEN_OUT = re.compile(r"\\U\+([0-9A-Fa-f]{4})")


def legible(text: str) -> str:
    """As a person reads it: letters that releases before R2007 write as ``\\U+041A`` are letters;
    bytes that are no text, which ezdxf hands on as surrogates, are written out, since no page, no
    terminal and no database can hold them."""
    if "\\U+" in text:
        text = _WRITTEN_OUT.sub(_letter, text)
    found = text.encode("utf-8", "backslashreplace").decode("utf-8").replace("\0", "\\x00")
    return text if found == text else found


def _letter(written: re.Match[str]) -> str:
    letter = chr(int(written[1], 16))
    return letter if letter.isprintable() else written[0]


class DrawingError(ValueError):
    """The drawing cannot be read, or reading on would guess at its shape.

    ``place`` is the line of the file or the handle of the entity, None where neither is known;
    ``message`` is for the person who has the drawing.
    """

    def __init__(self, message: str, place: str | None = None) -> None:
        message = legible(message)
        super().__init__(
            message if place is None else said("{place}: {message}", place=place, message=message)
        )
        self.message = message
        self.place = place

    def __reduce__(self) -> tuple[type[DrawingError], Any]:
        return type(self), (self.message, self.place)


class UnitUnknown(DrawingError):
    """The file says no unit of length and the person has not either."""


class NothingUsed(DrawingError):
    """Every line lies on a layer that is passed over; ``layers`` are all there are, so that a
    person can say which of them to read."""

    def __init__(
        self, message: str, place: str | None = None, layers: tuple[Layer, ...] = ()
    ) -> None:
        super().__init__(message, place)
        self.layers = layers

    def __reduce__(self) -> tuple[type[DrawingError], Any]:
        return type(self), (self.message, self.place, self.layers)


@dataclass(frozen=True, slots=True)
class Reading:
    """How a person wants a drawing read. ``unit`` (mm, cm, m, in, ft) stands above what the file
    says; None leaves it to the file. ``roles`` by layer name stand above the defaults. Ends not
    further apart than ``gap_mm`` are joined. Raises ``ValueError`` for what cannot be."""

    unit: str | None = None
    roles: Mapping[str, Role] = field(default_factory=dict)
    gap_mm: float = GAP_MM

    def __post_init__(self) -> None:
        if not 0 <= self.gap_mm <= 5:
            raise ValueError(
                said("gaps are joined from 0 to 5 mm, not {gap_mm:g} mm", gap_mm=self.gap_mm)
            )
        if wrong := sorted(set(self.roles.values()) - set(ROLES)):
            raise ValueError(said("a layer is cut, mark or ignore, not {wrong}", wrong=wrong[0]))


@dataclass(frozen=True, slots=True)
class Strand:
    """One entity as drawn, or what is left of it: curves that follow each other. ``closed`` says
    that it ends where it starts."""

    handle: str
    kind: str
    layer: str
    curves: tuple[Curve, ...]
    closed: bool = False

    @property
    def start(self) -> Point:
        return self.curves[0].start

    @property
    def end(self) -> Point:
        return self.curves[-1].end

    @property
    def words(self) -> str:
        return said(
            "{kind} {handle} on layer {layer}", kind=self.kind, handle=self.handle, layer=self.layer
        )


@dataclass(frozen=True, slots=True)
class Note:
    """Something found. A ``fault`` makes a figure doubtful or the part uncuttable as drawn; the
    rest is told and needs nothing. ``at`` is where, in mm."""

    text: str
    fault: bool = False
    handle: str | None = None
    layer: str | None = None
    at: Point | None = None


@dataclass(frozen=True, slots=True)
class Layer:
    """A layer seen: what it is taken for and why, entities by kind (passed-over ones too), and the
    length in mm of its contours once repeats are out."""

    name: str
    role: Role
    why: str
    counts: Mapping[str, int]
    length_mm: float

    @property
    def entities(self) -> str:
        return ", ".join(f"{count} {kind}" for kind, count in self.counts.items())


@dataclass(frozen=True, slots=True, eq=False)
class Contour:
    """One contour in the order it would be cut, numbered from 1; marking is numbered on its own.

    ``area_mm2`` is what it encloses by itself, ``net_area_mm2`` that of an outer contour (or of an
    island: a piece of its own inside a hole) less the holes directly inside; None where it is
    open or crosses itself. ``inside`` is the number of the smallest contour around it. ``points``
    is (n, 2), curves in fine chords.
    """

    number: int
    role: Role
    kind: Kind
    layer: str
    handles: tuple[str, ...]
    curves: tuple[Curve, ...]
    closed: bool
    crosses: bool
    length_mm: float
    area_mm2: float | None
    net_area_mm2: float | None
    inside: int | None
    extents_mm: Box
    points: Floats

    @property
    def start(self) -> Point:
        return self.curves[0].start

    @property
    def end(self) -> Point:
        return self.curves[-1].end


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """A drawing as measured. ``unit_said`` is False where a person gave the unit. ``net_area_mm2``
    sums the outer contours and islands; None where a cut contour is open, crosses itself or
    another, or nothing is closed. One pierce a cut contour."""

    unit: str
    unit_said: bool
    version: str
    layers: tuple[Layer, ...]
    contours: tuple[Contour, ...]
    marks: tuple[Contour, ...]
    cut_mm: float
    mark_mm: float
    pierces: int
    net_area_mm2: float | None
    extents_mm: Box
    notes: tuple[Note, ...]

    @property
    def faults(self) -> tuple[Note, ...]:
        return tuple(note for note in self.notes if note.fault)

    @property
    def size_mm(self) -> tuple[float, float]:
        x_min, y_min, x_max, y_max = self.extents_mm
        return x_max - x_min, y_max - y_min
