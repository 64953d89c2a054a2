"""How good the promises were: the last sixty whose truth is in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from planning.calc.ahead.scores import brier, chance_of, skill
from planning.services.promises import MOVED
from shopfloor.models import Statement, StatementKind

LATEST: Final = 60
BANDS: Final = ((0.0, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 1.01))


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
class Score:
    """`skill` against always saying the share that was kept; None where all or none were. Beside
    these, `moved` do not count as the job was given another due date, `voided` as it changed
    otherwise."""

    scored: int
    kept: int
    brier: float
    skill: float | None
    bands: tuple[Band, ...]
    moved: int
    voided: int


def score() -> Score | None:
    """None before the first."""
    rows = Statement.objects.filter(kind=StatementKind.PROMISE).exclude(scored_at=None)
    told = list(
        rows.filter(voided="")
        .order_by("-scored_at", "-pk")
        .values_list("chance", "outcome")[:LATEST]
    )
    if not told:
        return None
    said = [float(chance or 0.0) for chance, _outcome in told]
    done = [bool(outcome) for _chance, outcome in told]
    void = rows.exclude(voided="").order_by("-scored_at").values_list("voided", flat=True)
    why = list(void[:LATEST])
    moved = why.count(MOVED)
    bands = tuple(band for low, high in BANDS if (band := _band(said, done, low, high)))
    return Score(
        len(told), sum(done), brier(said, done), skill(said, done), bands, moved, len(why) - moved
    )


def _band(said: list[float], done: list[bool], low: float, high: float) -> Band | None:
    own = [(p, d) for p, d in zip(said, done, strict=True) if low <= p < high]
    if not own:
        return None
    mean = sum(p for p, _d in own) / len(own)
    inside = min(max(mean, 1e-9), 1 - 1e-9)
    least, most = chance_of(len(own), inside)
    return Band(low, min(high, 1.0), len(own), mean, sum(d for _p, d in own), least, most)
