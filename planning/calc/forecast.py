"""When today's work really ends: the plan of what is left, scaled by what recent runs took."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Outlook:
    """Seconds from now until the work ends: the middle and the ends of the 80 % range. `plan_s` is
    the plan unscaled. Below `needed` runs only the plan is known and the rest is None."""

    plan_s: float
    middle_s: float | None
    low_s: float | None
    high_s: float | None
    runs: int
    needed: int
    basis: str
