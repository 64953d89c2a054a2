"""Who on a shared nest pays what. Rules of common practice, no source; amounts are integer minor
units and always sum to what was shared out.

Direct and shared elapsed time go by the contours' own arc time, wear by their starts and time,
material by net area. A crash follows its cause and is not spread.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from planning.calc.said import said

K = TypeVar("K", bound=Hashable)

# Our assumption for sharing wear within a run: 30 s of arc wear a piece as much as a start does.
ARC_US_PER_START = 30_000_000


def largest_remainder(total: int, weights: Sequence[float | Fraction]) -> list[int]:
    """Integers in proportion to `weights` (>= 0) that sum to `total`. The units left over after
    rounding down go to the largest remainders, the earlier of equal ones first. Equal shares where
    all weights are 0. A negative total gives the mirror image of the positive one.

    Raises ValueError without weights (unless the total is 0) or for a negative one.
    """
    exact = [Fraction(weight) for weight in weights]
    if any(weight < 0 for weight in exact):
        raise ValueError(said("a weight is negative"))
    if not exact:
        if total:
            raise ValueError(said("nobody to share {total} between", total=total))
        return []
    if total < 0:
        return [-share for share in largest_remainder(-total, weights)]
    whole = sum(exact)
    if not whole:
        exact, whole = [Fraction(1)] * len(exact), Fraction(len(exact))
    ideal = [total * weight / whole for weight in exact]
    floors = [value.numerator // value.denominator for value in ideal]
    order = sorted(range(len(ideal)), key=lambda place: (floors[place] - ideal[place], place))
    for place in order[: total - sum(floors)]:
        floors[place] += 1
    return floors


def share_out(total: int, weights: Mapping[K, float]) -> dict[K, int]:
    """`largest_remainder` by key; keys that get nothing are left out."""
    amounts = largest_remainder(total, list(weights.values()))
    return {key: amount for key, amount in zip(weights, amounts, strict=True) if amount}


@dataclass(frozen=True, slots=True)
class ContourUse:
    """What one contour of a run took. `line` is the job line it was cut for, None for one that
    belongs to nobody (its use is shared like travel is). `common` is its share of its own
    arc: 1, less where it cuts an edge for another part too and more where another cuts one of its
    edges, so that each carries half. Starts are not shared."""

    line: int | None
    arc_us: int
    starts: int
    net_area_mm2: float | None
    common: float = 1.0


def _sums(pairs: Iterable[tuple[int | None, float]]) -> dict[int | None, float]:
    sums: dict[int | None, float] = {}
    for line, weight in pairs:
        if line is not None:
            sums[line] = sums.get(line, 0.0) + weight
    return sums if any(sums.values()) else {None: 1.0}


def time_weights(contours: Iterable[ContourUse]) -> dict[int | None, float]:
    """Weights by line for everything that goes by arc time; `{None: 1}`, the shop, where no line
    burnt anything."""
    return _sums((each.line, each.arc_us * each.common) for each in contours)


def wear_weights(contours: Iterable[ContourUse]) -> dict[int | None, float]:
    """Weights by line for wear: starts, and arc time as starts."""
    return _sums(
        (each.line, each.starts + each.arc_us * each.common / ARC_US_PER_START) for each in contours
    )


def area_weights(contours: Iterable[ContourUse]) -> dict[int | None, float]:
    """Weights by line for material and skeleton: the net area of its parts."""
    return _sums((each.line, each.net_area_mm2 or 0.0) for each in contours)


def move_scrap(
    amounts: Mapping[tuple[str, int | None], int], line: int, scrapped: int, made: int
) -> dict[tuple[str, int | None], int]:
    """What a line's scrapped parts had cost, taken out of `amounts` by kind: the share of the
    scrapped among the parts made. The caller books it on the cause; the sum does not change."""
    if made <= 0 or scrapped <= 0:
        return {}
    taken: dict[tuple[str, int | None], int] = {}
    for (kind, owner), amount in amounts.items():
        if owner == line:
            part = largest_remainder(amount, [min(scrapped, made), made - min(scrapped, made)])[0]
            if part:
                taken[kind, owner] = part
    return taken
