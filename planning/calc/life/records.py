"""What a fit is made of: one record a piece."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.calc.said import said

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Life:
    """A piece watched from age `entered` (0: from new) up to `age`; `ended`: by its own wear. A
    piece that only came out for another reason, or is still in use, is censored: not `ended`."""

    age: float
    ended: bool
    entered: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.age) and 0 <= self.entered <= self.age):
            raise ValueError(
                said(
                    "a piece of age {age:g} cannot have entered at {entered:g}",
                    age=self.age,
                    entered=self.entered,
                )
            )


class TooLittleData(ValueError):
    """There is no estimate; its argument says why."""


class SeenTooShort(TooLittleData):
    """The mean would lie far beyond every age seen: almost no information."""


def watched(lives: Sequence[Life]) -> list[Life]:
    """Those that tell anything: a piece that was watched for no start says nothing."""
    return [life for life in lives if life.age > life.entered]


@dataclass(frozen=True, slots=True)
class Arrays:
    """Records as arrays, divided by `scale` so that powers stay small."""

    age: Floats
    entered: Floats
    ended: NDArray[np.bool_]
    scale: float

    @classmethod
    def of(cls, lives: Sequence[Life]) -> Arrays:
        told = watched(lives)
        scale = max((life.age for life in told), default=1.0)
        return cls(
            np.array([life.age / scale for life in told]),
            np.array([life.entered / scale for life in told]),
            np.array([life.ended for life in told], dtype=bool),
            scale,
        )

    @property
    def ends(self) -> int:
        return int(self.ended.sum())

    def log_ages(self) -> float:
        """Sum of the logarithms of the ages at which pieces ended."""
        return float(np.log(self.age[self.ended]).sum())

    def powers(self, shape: float) -> float:
        """Sum of age^shape - entered^shape."""
        return float((self.age**shape - self.entered**shape).sum())
