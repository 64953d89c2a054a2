"""What a run's figures are made of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from planning.calc.variance import Variance

CRASH = "crash"
FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class Slot:
    """What an amount of a run is booked under."""

    kind: str
    line: int | None
    cause: str = ""


@dataclass(frozen=True, slots=True)
class Amount:
    minor: int
    quantity: float | None
    unit: str
    evidence: str


@dataclass(frozen=True, slots=True)
class DayFigures:
    day: date
    wear_set_id: int
    arcs: int
    arc_us: int
    elapsed_us: int
    planned_arc_us: int | None
    cut_mm: float
    entered_us: int = 0  # of the elapsed time, as entered for a silence of the source
    entered_arc_us: int = 0  # of that, burning
    unknown_us: int = 0


@dataclass(frozen=True)
class RunFigures:
    """`amounts` by slot; the sum over a kind's lines is what the run cost of it. `wear` weighs
    lines for the pieces' charges, which are worked out by piece. `unknown` says what has no
    amount, and why."""

    variance: Variance
    minor_per_hour: int | None
    amounts: dict[Slot, Amount]
    days: tuple[DayFigures, ...]
    wear: dict[int | None, float]
    split: str  # evidence of how it was shared between lines
    crash_line: int | None
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rules:
    """The shop's own rules that figures depend on."""

    remnant_factor: float
    remnant_least_mm2: float
