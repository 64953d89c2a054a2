"""Failures against expectation: are there more than chance explains?

O ends by wear in a window, one an incident; E = sum over every piece at risk of H(age at the
window's end) - H(age at its start). By chance alone O is Poisson with mean E.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.stats import poisson

UNLIKELY = 0.01


@dataclass(frozen=True, slots=True)
class Excess:
    """`chance`: that so many or more come by chance; None where nothing was expected."""

    seen: int
    expected: float
    chance: float | None

    @property
    def unlikely(self) -> bool:
        return self.chance is not None and self.chance < UNLIKELY


def excess(seen: int, expected: float) -> Excess:
    if expected <= 0:
        return Excess(seen, 0.0, None)
    return Excess(seen, expected, float(poisson.sf(seen - 1, expected)))
