"""The price of squareness: metres cut fine where fast would have met what was asked, times what
fine costs more."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from planning.calc.edge import PredictedU, verdict

Standing = Literal[
    "not asked for",
    "asked for",
    "not enough checks",
    "no fast route",
    "unpriced",
    "fine was cheaper",
]


@dataclass(frozen=True, slots=True)
class FineCut:
    """A stretch of fine cutting for one job line. `fine_minor` and `fast_minor` are what a metre
    costs either way, wear and bench included, `fine_h` and `fast_h` table hours a metre; None
    where unknown. `fast` says whether a fast route can cut it at all, `u` what it would leave."""

    metres: float
    thickness_mm: float
    asked: int | None
    must_be_fine: bool
    fast: bool
    u: PredictedU
    fine_minor: float | None
    fast_minor: float | None
    fine_h: float
    fast_h: float

    @property
    def standing(self) -> Standing:
        """Whether the drawing asked for it. Asked for is also what fast's upper bound misses; where
        fast would have cost more with its wear and clean-up, nothing was lost."""
        if self.must_be_fine:
            return "asked for"
        if not self.fast:
            return "no fast route"
        if self.asked is not None:
            if self.u.high_mm is None:
                return "not enough checks"
            if verdict(self.u, self.asked, self.thickness_mm) != "meets":
                return "asked for"
        if self.fine_minor is None or self.fast_minor is None:
            return "unpriced"
        return "not asked for" if self.fine_minor > self.fast_minor else "fine was cheaper"

    @property
    def more_minor(self) -> float | None:
        """Metres x (fine - fast); None where one is unknown."""
        if self.fine_minor is None or self.fast_minor is None:
            return None
        return self.metres * (self.fine_minor - self.fast_minor)

    @property
    def more_h(self) -> float:
        return self.metres * (self.fine_h - self.fast_h)


def metres_by_standing(cuts: Iterable[FineCut]) -> dict[Standing, float]:
    """Metres of fine cutting by why they were fine; what every share of it is held against."""
    found: dict[Standing, float] = {}
    for cut in cuts:
        found[cut.standing] = found.get(cut.standing, 0.0) + cut.metres
    return found


def per_tenth_mm(
    fine_minor: float, fast_minor: float, fine_u_mm: float, fast_u_mm: float
) -> float | None:
    """What a metre costs more for each 0.1 mm of u that fine gains: dc / du / 10. None where fine
    gains nothing."""
    gained = fast_u_mm - fine_u_mm
    return (fine_minor - fast_minor) / gained / 10 if gained > 1e-6 else None
