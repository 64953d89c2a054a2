"""Arcs, segments and decisions as matching sees them. Instants are integer microseconds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ArcInput:
    """`off_us` None: still burning. `pierces` None: the source cannot know."""

    key: str
    table: str
    torch: str
    on_us: int
    off_us: int | None
    pierces: int | None = None

    @property
    def seconds(self) -> float | None:
        return None if self.off_us is None else (self.off_us - self.on_us) / 1e6


@dataclass(frozen=True, slots=True)
class Planned:
    """One contour's plan; `seconds` None: no plan. No pierce is an edge start."""

    seconds: float | None
    pierces: int = 1


@dataclass(frozen=True, slots=True)
class Span:
    """A segment. `pressed`: its end was said by a person. `follows_on`: its first contour is the
    one after the last of the run's segment before. `inserted`: made for arcs that a person gave to
    the run, so that it cuts no other segment short."""

    id: int
    run: str
    table: str
    torch: str
    start_us: int
    end_us: int | None = None
    pressed: bool = False
    first_contour: int = 1
    follows_on: bool = False
    inserted: bool = False
    plan: tuple[Planned, ...] = ()


@dataclass(frozen=True, slots=True)
class StoppageSpan:
    """Time at a table that a person gave a reason for; `end_us` None: still."""

    table: str
    start_us: int
    end_us: int | None


@dataclass(frozen=True, slots=True)
class Decision:
    """`segment` None: no run. `contour` None: cannot be known."""

    key: str
    segment: int | None
    contour: int | None = None
    repeat: bool = False


@dataclass(frozen=True, slots=True)
class Ended:
    """What the arcs say of a segment. `assumed_us`: its end, where nobody pressed it and it has
    lapsed; `next_contour`: the one after the last numbered."""

    segment: int
    assumed_us: int | None
    first_contour: int
    last_contour: int | None


@dataclass(frozen=True, slots=True)
class SilentSpan:
    """No arc inside a segment, from one arc's end to the next one's start."""

    segment: int
    start_us: int
    end_us: int


@dataclass(frozen=True, slots=True)
class Matched:
    decisions: tuple[Decision, ...]
    ends: tuple[Ended, ...]
    quiets: tuple[SilentSpan, ...]


@dataclass(frozen=True, slots=True)
class Cluster:
    """Arcs of one torch with no run, close enough together to be one stretch of work."""

    table: str
    torch: str
    keys: tuple[str, ...]
    start_us: int
    end_us: int
    arc_s: float  # of those that ended
