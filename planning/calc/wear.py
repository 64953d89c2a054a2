"""Wear parts: what each run pays for a piece. How long pieces last stands in `life/`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from planning.calc.allocation import largest_remainder
from planning.calc.cost import rounded


@dataclass(frozen=True, slots=True)
class Charges:
    """What is charged for one piece: to each use in order, to what came before we knew it, and
    `rest`, the unused worth of one that crashed or was lost. Once a piece has ended all of it sums
    to the price."""

    by_use: tuple[int, ...]
    before: int
    rest: int

    @property
    def total(self) -> int:
        return sum(self.by_use) + self.before + self.rest


def charges(
    price_minor: int,
    uses: Sequence[int],
    *,
    rated_starts: int | None,
    prior_starts: int | None = 0,
    ended: str = "",
) -> Charges:
    """Charge `uses` (starts, in order of time) for a piece bought at `price_minor`.

    While it lives a start costs price / rated life, up to the price; nothing where no life is
    rated. When it `failed` or was `retired` its price is shared by the starts it really gave
    (largest remainder), prior ones among them. When it `crashed` or was `lost` the charge per start
    stands and the rest is apart, for whoever caused it. Prior starts that are unknown count as 0.
    """
    prior = prior_starts or 0
    if ended in ("failed", "retired") and prior + sum(uses) > 0:
        before, *by_use = largest_remainder(price_minor, [prior, *uses])
        return Charges(tuple(by_use), before, 0)
    steps = [0, prior]
    for starts in uses:
        steps.append(steps[-1] + starts)
    if rated_starts:
        paid = [min(price_minor, rounded(Fraction(price_minor * at, rated_starts))) for at in steps]
    else:
        paid = [0 for _ in steps]
    each = [after - so_far for so_far, after in pairwise(paid)]
    rest = price_minor - paid[-1] if ended in ("failed", "retired", "crashed", "lost") else 0
    return Charges(tuple(each[1:]), each[0], rest)
