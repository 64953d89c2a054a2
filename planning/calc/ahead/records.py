"""What the model learns from: what runs took, what lay between them, and what stopped them."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum


class Step(StrEnum):
    """What a table does between two cuts."""

    LOAD = "load"
    UNLOAD = "unload"
    GAP = "gap"  # between unloading and loading, the set stays
    CHANGE = "change"  # the same, and another set is fitted


@dataclass(frozen=True, slots=True)
class Cut:
    """A finished run's cutting: `took_s` from its first arc to its last, stoppages taken out,
    and `plan_s` what the plan says of the same stretch; both seconds, above 0.

    `day` numbers table-days, `week` weeks. Runs of a `cell` (set, material, thickness) share how
    they differ from plan, and so do runs of one `nest`."""

    day: int
    week: int
    cell: Hashable
    nest: Hashable
    plan_s: float
    took_s: float


@dataclass(frozen=True, slots=True)
class Handling:
    """Seconds that one step took on a table-day."""

    step: Step
    day: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Stop:
    """A stoppage while cutting, seconds. `nest`: what was on the table, None where not known."""

    day: int
    seconds: float
    nest: Hashable = None


@dataclass(frozen=True, slots=True)
class Exposed:
    """Seconds of cutting of one nest on a table-day, and how often it stopped."""

    day: int
    nest: Hashable
    cut_s: float
    stops: int


@dataclass(frozen=True, slots=True)
class Typical:
    """What is expected before there are records: medians in seconds, and stoppages an hour of
    cutting. Whoever keeps the shop types loading and unloading; the rest is our assumption."""

    load_s: float = 300.0
    unload_s: float = 240.0
    gap_s: float = 90.0
    change_s: float = 600.0
    border_s: float = 600.0
    stop_s: float = 720.0
    stops_per_h: float = 0.25

    def of(self, step: Step) -> float:
        return {
            Step.LOAD: self.load_s,
            Step.UNLOAD: self.unload_s,
            Step.GAP: self.gap_s,
            Step.CHANGE: self.change_s,
        }[step]


@dataclass(frozen=True, slots=True)
class Records:
    """All of it, the oldest first. `border_s`: seconds idle at the end of a shift and until the
    first arc of the next, one number a border. `going`: what is on the tables now, its stoppages
    that are over apart (they are among `stops`)."""

    cuts: Sequence[Cut] = ()
    handling: Sequence[Handling] = ()
    stops: Sequence[Stop] = ()
    border_s: Sequence[float] = ()
    going: Sequence[Exposed] = ()
    typical: Typical = field(default_factory=Typical)
