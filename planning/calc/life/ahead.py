"""When so many starts are burnt, by the work that waits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """Work in its order: `seconds` it takes, `starts` of the piece in it (0: another set's)."""

    name: str
    seconds: float
    starts: int


@dataclass(frozen=True, slots=True)
class Reached:
    seconds: float
    name: str  # the work within which


def reached(steps: Sequence[Step], starts: float) -> Reached | None:
    """After how many seconds of work so many starts are burnt, evenly within each step. None: the
    list ends before."""
    done = seconds = 0.0
    for step in steps:
        if step.starts > 0 and done + step.starts >= starts:
            share = max(0.0, starts - done) / step.starts
            return Reached(seconds + share * step.seconds, step.name)
        done += step.starts
        seconds += step.seconds
    return None
