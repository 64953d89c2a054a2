"""How good the promises were: the last sixty whose truth is in, and those replayed on the past."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from planning.calc.ahead.promise import LEVELS
from planning.calc.ahead.scores import brier, chance_of, skill
from planning.services.promises import MOVED
from shopfloor.models import Statement, StatementKind

LATEST: Final = 60
REPLAYED: Final = 1000
BANDS: Final = tuple((low / 10, low / 10 + (0.1 if low < 9 else 0.11)) for low in range(10))


@dataclass(frozen=True, slots=True)
class Band:
    """Promises said with a chance in one band: how many, what was said on average, how many were
    kept, and between which numbers nine of ten times chance alone would leave it."""

    low: float
    high: float
    said: int
    mean: float
    kept: int
    least: int
    most: int

    @property
    def mean_percent(self) -> str:
        return f"{round(self.mean * 100)}"


@dataclass(frozen=True, slots=True)
class Day:
    """Days that could be promised at a chance (`said`, in 100): of how many it is known what came,
    how many were kept, and between which numbers nine of ten times chance alone would leave it."""

    said: int
    days: int
    kept: int
    least: int
    most: int


@dataclass(frozen=True, slots=True)
class Score:
    """`skill` against always saying the share that was kept; None where all or none were. Beside
    these, `moved` do not count as the job was given another due date, `voided` as it changed
    otherwise."""

    scored: int
    kept: int
    brier: float
    skill: float | None
    bands: tuple[Band, ...]
    days: tuple[Day, ...]
    moved: int
    voided: int


def score(*, replayed: bool = False) -> Score | None:
    """None before the first. `replayed`: of those that were never shown."""
    rows = Statement.objects.filter(kind=StatementKind.PROMISE, replayed=replayed)
    rows = rows.exclude(scored_at=None)
    told = list(
        rows.filter(voided="")
        .order_by("-scored_at", "-pk")
        .values_list("chance", "outcome", "rests_on__held", "subject")[
            : REPLAYED if replayed else LATEST
        ]
    )
    if not told:
        return None
    said = [float(one[0] or 0.0) for one in told]
    done = [bool(one[1]) for one in told]
    jobs = [one[3] for one in told]
    void = rows.exclude(voided="").order_by("-scored_at").values_list("voided", flat=True)
    why = list(void[:LATEST])
    moved = why.count(MOVED)
    bands = tuple(band for low, high in BANDS if (band := _band(said, done, jobs, low, high)))
    return Score(
        len(told), sum(done), brier(said, done), skill(said, done), bands,
        tuple(_days([(one[2], one[3]) for one in told if one[2]])), moved, len(why) - moved,
    )  # fmt: skip


def _days(told: list[tuple[list[bool | None], str]]) -> Iterator[Day]:
    for place, level in enumerate(LEVELS):
        own = [
            (held[place], job) for held, job in told
            if place < len(held) and held[place] is not None
        ]  # fmt: skip
        if own:
            least, most = _limits(len(own), len({job for _held, job in own}), level)
            kept = sum(bool(held) for held, _job in own)
            yield Day(round(level * 100), len(own), kept, least, most)


def _limits(count: int, jobs: int, share: float) -> tuple[int, int]:
    """Of `count` promises of so many jobs. What is said of one job on several mornings comes true
    or not together: they are taken to tell as much as one of each job."""
    least, most = chance_of(jobs, share)
    return math.floor(least * count / jobs), math.ceil(most * count / jobs)


def _band(
    said: list[float], done: list[bool], jobs: list[str], low: float, high: float
) -> Band | None:
    own = [(p, d) for p, d in zip(said, done, strict=True) if low <= p < high]
    if not own:
        return None
    mean = sum(p for p, _d in own) / len(own)
    inside = min(max(mean, 1e-9), 1 - 1e-9)
    many = len({job for job, p in zip(jobs, said, strict=True) if low <= p < high})
    least, most = _limits(len(own), many, inside)
    return Band(low, min(high, 1.0), len(own), mean, sum(d for _p, d in own), least, most)
