"""What one piece of a part gives, for plans: starts for each piece that is used up.

All starts burnt, those of pieces still in use among them, over the pieces used up; the rated life
counts as `RATED_WORTH` pieces. So plans charge what runs are charged once pieces have ended: a
piece that failed or was taken out is charged whole to its starts; one that crashed or was lost is
charged by its rated life up to then, and its rest is not wear.
"""

from __future__ import annotations

from dataclasses import dataclass

RATED_WORTH = 2.0  # our assumption
LEAST_OUT = 3
STEADY = 0.05  # a figure this near to the one in use is not taken instead: plans stay


@dataclass(frozen=True, slots=True)
class Given:
    """`starts` of one piece, from `burnt` starts and `out` pieces used up."""

    starts: float
    out: int
    burnt: int


def given(rated: int | None, *, burnt: int, out: int, spoilt_starts: int) -> Given | None:
    """`spoilt_starts`: of pieces that crashed or were lost. None: fewer than 3 are used up, or
    nobody saw them burn, so the rated life stands."""
    if out < LEAST_OUT or burnt <= spoilt_starts:
        return None
    if rated is None:
        return Given((burnt - spoilt_starts) / out, out, burnt)
    pieces = out + spoilt_starts / rated
    starts = (RATED_WORTH * rated + burnt) / (RATED_WORTH + pieces)
    return Given(starts, out, burnt)


def steadied(found: Given | None, kept: float | None) -> bool:
    """Whether the figure in use stays in the place of a new one."""
    return (
        found is not None
        and kept is not None
        and kept > 0
        and abs(found.starts / kept - 1) <= STEADY
    )
