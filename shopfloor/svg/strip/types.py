"""What a day strip is drawn from. Times are integer microseconds since 1970 in UTC; the zone
only decides how they are read out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from typing import Literal, NamedTuple

ArcState = Literal["run", "unassigned", "open"]
StoppageKind = Literal["planned", "stop", "ask"]
RunState = Literal["done", "cutting", "planned", "unassigned"]
BARE_PX = 1.5  # the base line where nothing is known of the set


class Arc(NamedTuple):
    """One arc-on interval. `open` has not ended yet: its `off_us` is the last sign of burning."""

    on_us: int
    off_us: int
    state: ArcState = "run"


@dataclass(frozen=True, slots=True)
class Stoppage:
    """`planned` was expected (a break, a set change), `stop` was not, `ask` has no reason yet."""

    from_us: int
    to_us: int
    label: str
    kind: StoppageKind = "stop"


def stoppage_kind(*, reasoned: bool, planned: bool) -> StoppageKind:
    """Without a reason one is asked for; what the reason plans is expected."""
    if not reasoned:
        return "ask"
    return "planned" if planned else "stop"


@dataclass(frozen=True, slots=True)
class FittedSet:
    """The set in the torch from `from_us` on, until the next one; `duty` names its line's style."""

    from_us: int
    duty: str
    label: str
    line_px: float = BARE_PX


@dataclass(frozen=True, slots=True)
class Run:
    """One nest on one sheet, bracketed under the line; `to_us` may be a forecast."""

    from_us: int
    to_us: int
    label: str
    state: RunState = "done"


@dataclass(frozen=True, slots=True)
class Planned:
    """Work still expected. `arcs_s` are its planned arcs in seconds, in cutting order."""

    from_us: int
    to_us: int
    label: str
    arcs_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Pace:
    """Minutes ahead of plan at a time; negative is behind. Behind by more than `usual_min` is off
    plan."""

    at_us: int
    ahead_min: float
    usual_min: float = 8.0


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the table's work ends: median and the ends of its 80 % range. What lies behind
    `known_until_us`, the last shift that is laid out, has no moment."""

    low_us: int
    median_us: int
    high_us: int
    known_until_us: int | None = None

    def known(self, at_us: int) -> bool:
        return self.known_until_us is None or at_us <= self.known_until_us


@dataclass(frozen=True, slots=True)
class StripTable:
    """One table's shift. The window is what is drawn; `shift_end_us` may lie inside it.

    Raises ValueError when the window is empty or a span ends before it starts.
    """

    name: str
    start_us: int
    end_us: int
    now_us: int
    zone: tzinfo
    arcs: tuple[Arc, ...] = ()
    stoppages: tuple[Stoppage, ...] = ()
    sets: tuple[FittedSet, ...] = ()
    runs: tuple[Run, ...] = ()
    planned: tuple[Planned, ...] = ()
    silent_since_us: int | None = None
    sourceless: bool = False  # silent because no source is set up
    pace: tuple[Pace, ...] = ()
    plan_end_us: int | None = None
    forecast: Forecast | None = None
    shift_end_us: int | None = None

    def __post_init__(self) -> None:
        if self.end_us <= self.start_us:
            raise ValueError(f"{self.name}: the window ends before it starts")
        for on_us, off_us, _ in self.arcs:
            if off_us < on_us:
                raise ValueError(f"{self.name}: an arc ends at {off_us}, before it starts")
        spans: tuple[Stoppage | Run | Planned, ...] = (*self.stoppages, *self.runs, *self.planned)
        for span in spans:
            if span.to_us < span.from_us:
                raise ValueError(f"{self.name}: {span.label!r} ends before it starts")

    @property
    def known_until_us(self) -> int:
        """The last moment anything is known of: now, or where the feed fell silent."""
        if self.silent_since_us is None:
            return self.now_us
        return min(self.silent_since_us, self.now_us)

    @property
    def last_pace(self) -> Pace | None:
        return max(self.pace, key=lambda p: p.at_us, default=None)
