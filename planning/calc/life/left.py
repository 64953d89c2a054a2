"""What is left of one piece, given that it has come so far, and what its own pit says.

The chance of ending at each age, over the whole cloud of lives, given survival to its age; times
how well each age agrees with the ages at which its pit would be at the limit (`pit.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planning.calc.life.pit import PitSays
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Floats

STEPS = 360
FARTHEST = 8.0  # mean lives beyond its age that the ages reach
NEAREST = 1 / 2000  # of a mean life: the first step


@dataclass(frozen=True)
class Left:
    """Starts left as a distribution: `more` starts, and the share of pieces like it that give as
    many (`still`, falling from 1)."""

    more: Floats
    still: Floats

    def by(self, share: float) -> float:
        """Starts after which that share has ended."""
        ended = 1 - self.still
        return float(np.interp(share, ended, self.more))

    def between(self, level: float) -> tuple[float, float]:
        return self.by((1 - level) / 2), self.by((1 + level) / 2)

    @property
    def median(self) -> float:
        return self.by(0.5)

    def reaches(self, more: float) -> float:
        """Chance that it gives so many more."""
        return float(np.interp(more, self.more, self.still, right=0.0))


def left(posterior: Posterior, age: float, pit: PitSays | None = None) -> Left:
    """What is left at an age."""
    mean = posterior.mean
    far = FARTHEST * mean
    if pit is not None:
        far = max(far, 3 * (pit.age - age))
    more = np.concatenate([[0.0], np.geomspace(NEAREST * mean, far, STEPS)])
    survival = posterior.survival(age + more)
    if survival[0] <= 0:  # older than anything believed: all of it may end at once
        return Left(more, np.where(more > 0, 0.0, 1.0))
    ended = -np.diff(survival)
    if pit is not None:
        middles = age + (more[:-1] + more[1:]) / 2
        ended = ended * pit.agreement(middles)
    total = ended.sum()
    if total <= 0:
        return Left(more, np.where(more > 0, 0.0, 1.0))
    return Left(more, np.concatenate([[1.0], 1 - np.cumsum(ended) / total]))
