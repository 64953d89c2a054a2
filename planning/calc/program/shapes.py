"""Whether two parts have one shape, turned, moved or mirrored.

An outline is taken as points at equal steps along it, seen from their centre; a turn is then one
complex factor and another starting point a shift, and the best of both is the peak of a cross
correlation. Holes must come to lie on holes under the same turn. A flat part may be turned over,
so a mirrored one is the same part; it is told apart all the same, for parts that are bent later.
"""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

Complexes = npt.NDArray[np.complex128]
Match = Literal["same", "mirrored"]
Point = tuple[float, float]

_STEPS: Final = 256
_FINER: Final = 8
# Our assumptions: how far two outlines may lie apart (root mean square), and holes; the share of
# the outline's length allows for the steps between which a start may fall.
LEAST_APART_MM: Final = 0.2
SHARE_APART: Final = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """An outline's spectrum about its centre, its length in mm, and its holes as (place relative to
    the centre, length in mm)."""

    spectrum: Complexes
    length_mm: float
    holes: tuple[tuple[complex, float], ...]

    @property
    def apart_mm(self) -> float:
        return max(LEAST_APART_MM, SHARE_APART * self.length_mm)


def shape_of(
    outline: Sequence[Point], holes: Sequence[tuple[Sequence[Point], float]] = ()
) -> Shape | None:
    """The shape of a closed outline, its leads left out, with holes as (points, length in mm).
    None where there is hardly an outline."""
    z = _complex(outline)
    if len(z) < 3:
        return None
    if abs(z[0] - z[-1]) > 0:
        z = np.append(z, z[0])
    if float((z[:-1].conj() * z[1:]).imag.sum()) < 0:
        z = z[::-1]
    run = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(z)))))
    length = float(run[-1])
    if length <= 0:
        return None
    at = np.arange(_STEPS) * length / _STEPS
    points = np.interp(at, run, z.real) + 1j * np.interp(at, run, z.imag)
    centre = complex(points.mean())
    placed = [(_centre(points_of) - centre, mm) for points_of, mm in holes if len(points_of)]
    return Shape(np.fft.fft(points - centre) / _STEPS, length, tuple(placed))


def compare(one: Shape, other: Shape) -> Match | None:
    """How ``other`` is ``one`` turned and moved ("same") or mirrored; None where it is neither.
    A shape that is its own mirror image is the same."""
    if len(one.holes) != len(other.holes):
        return None
    if abs(one.length_mm - other.length_mm) > LEAST_APART_MM + SHARE_APART * one.length_mm:
        return None
    if _meets(one, other):
        return "same"
    # Mirrored at the x axis and run the other way round, so that it turns left again.
    flipped = Shape(
        other.spectrum.conj(), other.length_mm,
        tuple((place.conjugate(), mm) for place, mm in other.holes),
    )  # fmt: skip
    return "mirrored" if _meets(one, flipped) else None


def _meets(one: Shape, other: Shape) -> bool:
    """Whether a turn lays ``other`` on ``one``, outline and holes."""
    size = _STEPS * _FINER
    product = one.spectrum * other.spectrum.conj()
    padded = np.zeros(size, np.complex128)
    half = _STEPS // 2
    padded[:half], padded[-half:] = product[:half], product[half:]
    match = np.fft.ifft(padded) * size
    power = float((np.abs(one.spectrum) ** 2).sum() + (np.abs(other.spectrum) ** 2).sum())
    most = one.apart_mm**2
    if power - 2 * float(np.abs(match).max()) > most:
        return False
    for turn in _turns(one, other, match):
        apart2 = power - 2 * float((match * turn.conjugate()).real.max())
        if apart2 <= most and _holes_meet(one, other, turn):
            return True
    return False


def _turns(one: Shape, other: Shape, match: Complexes) -> list[complex]:
    """Turns (as factors of size 1) worth trying: by the hole furthest out, else by the outline."""
    far = max(one.holes, key=lambda hole: abs(hole[0]), default=None)
    if far is None or abs(far[0]) <= one.apart_mm:
        best = complex(match[int(np.abs(match).argmax())])
        return [best / abs(best)] if best else [1 + 0j]
    place, mm = far
    fitting = [
        spot
        for spot, other_mm in other.holes
        if abs(abs(spot) - abs(place)) <= one.apart_mm and abs(mm - other_mm) <= LEAST_APART_MM
    ]
    return [cmath.rect(1.0, cmath.phase(place) - cmath.phase(spot)) for spot in fitting]


def _holes_meet(one: Shape, other: Shape, turn: complex) -> bool:
    left = [(spot * turn, mm) for spot, mm in other.holes]
    for place, mm in one.holes:
        near = [
            (abs(spot - place), index)
            for index, (spot, other_mm) in enumerate(left)
            if abs(mm - other_mm) <= LEAST_APART_MM
        ]
        if not near or min(near)[0] > one.apart_mm:
            return False
        del left[min(near)[1]]
    return True


def _complex(points: Sequence[Point]) -> Complexes:
    found = np.asarray(points, np.float64).reshape(-1, 2)
    return np.asarray(found[:, 0] + 1j * found[:, 1])


def _centre(points: Sequence[Point]) -> complex:
    """Of the path itself, whatever steps it was drawn in."""
    z = _complex(points)
    length = np.abs(np.diff(z))
    whole = float(length.sum())
    return complex(((z[:-1] + z[1:]) / 2 * length).sum() / whole) if whole else complex(z[0])
