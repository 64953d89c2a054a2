"""What a failure costs a shop on top of the piece that failed, and what a planned change does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from scipy.stats import t as student

LEAST = 3  # changes; fewer have no mean worth the name
LEVEL = 0.90
# Our assumption: a typed figure is within half and twice of what is true.
TYPED_FACTOR = 2.0

Source = Literal["part", "shop", "typed"]


@dataclass(frozen=True, slots=True)
class Happened:
    """One failure or planned change, in minor units beyond its own piece. None: not known.
    `partners`: unused worth of pieces that went with it; `mate` is the part of it that was the
    electrode's nozzle or the nozzle's electrode. `cut`: parts it spoilt. `lost`: time until the arc
    was on again."""

    key: str
    at_us: int
    partners: float | None
    cut: float | None
    lost: float | None
    lost_s: float | None
    mate: float = 0.0

    @property
    def total(self) -> float | None:
        terms = (self.partners, self.cut, self.lost)
        known = [term for term in terms if term is not None]
        return sum(known) if len(known) == len(terms) else None


@dataclass(frozen=True, slots=True)
class Typed:
    """What somebody says of a change before there are records."""

    cut: float
    lost: float
    lost_s: float


@dataclass(frozen=True, slots=True)
class Extra:
    """Means over `n` changes that are known whole; the terms sum to `total`. `low` to `high` hold
    the mean total at 90 %; of a typed one, half to twice."""

    partners: float
    cut: float
    lost: float
    lost_s: float
    mate: float
    low: float
    high: float
    n: int
    source: Source

    @property
    def total(self) -> float:
        return self.partners + self.cut + self.lost


def extra(own: Sequence[Happened], shop: Sequence[Happened], typed: Typed | None) -> Extra | None:
    """From the part's own changes, else from those of every part, else as typed; None where there
    is none of them."""
    for changes, source in ((own, "part"), (shop, "shop")):
        known = whole(changes)
        if len(known) >= LEAST:
            return _means(known, "part" if source == "part" else "shop")
    if typed is None:
        return None
    total = typed.cut + typed.lost
    low, high = total / TYPED_FACTOR, total * TYPED_FACTOR
    return Extra(0.0, typed.cut, typed.lost, typed.lost_s, 0.0, low, high, 0, "typed")


def whole(changes: Sequence[Happened]) -> list[Happened]:
    """Those of which every cost is known."""
    return [one for one in changes if one.total is not None]


def _means(known: Sequence[Happened], source: Source) -> Extra:
    n = len(known)

    def mean(values: Sequence[float]) -> float:
        return sum(values) / n

    totals = [one.total or 0.0 for one in known]
    middle = mean(totals)
    sd = math.sqrt(sum((one - middle) ** 2 for one in totals) / (n - 1))
    reach = float(student.ppf((1 + LEVEL) / 2, n - 1)) * sd / math.sqrt(n)
    return Extra(
        partners=mean([one.partners or 0.0 for one in known]),
        cut=mean([one.cut or 0.0 for one in known]),
        lost=mean([one.lost or 0.0 for one in known]),
        lost_s=mean([one.lost_s or 0.0 for one in known]),
        mate=mean([one.mate for one in known]),
        low=max(0.0, middle - reach),
        high=middle + reach,
        n=n,
        source=source,
    )


@dataclass(frozen=True, slots=True)
class ChangeCosts:
    """Of one part: its price, and what comes on top when it fails and when it is changed ahead."""

    price: float
    failure: Extra
    planned: Extra

    @property
    def failed(self) -> float:
        return self.price + self.failure.total

    @property
    def ahead(self) -> float:
        return self.price + self.planned.total
