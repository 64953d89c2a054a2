"""Routes to one thing side by side: what each takes and costs, which are beaten outright, and the
price at which the choice flips. Money in minor units as floats until it is shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from planning.calc.edge import RANKS, PredictedU, Verdict
from planning.calc.spans import Span

SAME = 1e-9
UNKNOWN_U = PredictedU(None, None, None, 0, 0, "unknown")


@dataclass(frozen=True, slots=True)
class Prices:
    """Minor units an hour; None is unknown, which is not free. `table` is machine and operator."""

    table: float | None
    bench: float | None


@dataclass(frozen=True, slots=True)
class Route:
    """One way to make a line or a nest. Minutes of table (with load), of the set change before it,
    and of bench; `wear_minor` of parts, `other_minor` of gas and power. None is unknown."""

    key: str
    duty: str
    table_min: float
    bench_min: float | None
    wear_minor: float | None
    other_minor: float | None = 0.0
    u: PredictedU = UNKNOWN_U
    verdict: Verdict = "not_asked"
    change_min: float = 0.0

    @property
    def held_min(self) -> float:
        """How long it holds the table: a set change costs the table and its operator too."""
        return self.table_min + self.change_min

    def cost_minor(self, prices: Prices) -> float | None:
        """Table hours x table rate + bench hours x bench rate + wear + gas and power; None where
        any of them is unknown. Bench minutes of 0 cost nothing at any rate."""
        parts = self._parts(prices)
        return None if any(part is None for part in parts) else math.fsum(p or 0.0 for p in parts)

    def _parts(self, prices: Prices) -> tuple[float | None, ...]:
        return (
            _times(self.held_min / 60, prices.table),
            _times(None if self.bench_min is None else self.bench_min / 60, prices.bench),
            self.wear_minor,
            self.other_minor,
        )


def _times(hours: float | None, rate: float | None) -> float | None:
    if hours == 0:
        return 0.0
    return None if hours is None or rate is None else hours * rate


Price = Literal["bench", "table", "wear"]


@dataclass(frozen=True, slots=True)
class Flip:
    """Where `instead` becomes the cheaper: once `price` is `side` `at` (minor units an hour; for
    wear parts a multiple of what they cost now)."""

    price: Price
    side: Literal["above", "below"]
    at: float
    now: float
    instead: str


def flips(best: Route, other: Route, prices: Prices) -> list[Flip]:
    """Every single price at which `other` would cost as little as `best`, the others as they are.

    Cost is linear in each price, so the crossing is where the difference of the rest equals the
    difference of the quantity x price. No crossing above zero: that price alone never flips it.
    """
    ours, theirs = best.cost_minor(prices), other.cost_minor(prices)
    if ours is None or theirs is None or prices.table is None:
        return []
    bench = prices.bench or 0.0
    quantities: list[tuple[Price, float, float, float]] = [
        ("bench", (best.bench_min or 0.0) / 60, (other.bench_min or 0.0) / 60, bench),
        ("table", best.held_min / 60, other.held_min / 60, prices.table),
        ("wear", best.wear_minor or 0.0, other.wear_minor or 0.0, 1.0),
    ]
    found = []
    for price, mine, its, now in quantities:
        if abs(mine - its) <= SAME:
            continue
        at = now + (theirs - ours) / (mine - its)
        if at > 0:
            found.append(Flip(price, "above" if mine > its else "below", at, now, other.key))
    return found


def beaten_by(route: Route, others: Sequence[Route], prices: Prices) -> Route | None:
    """A route that is no slower at the table, no longer at the bench, no dearer and no worse
    against what is asked, and better in one of them: then nothing speaks for `route`. A figure
    that is unknown beats nothing and is not beaten."""
    mine = _marks(route, prices)
    if mine is None:
        return None
    for other in others:
        its = _marks(other, prices)
        if other is route or its is None:
            continue
        if all(a <= b + SAME for a, b in zip(its, mine, strict=True)) and any(
            a < b - SAME for a, b in zip(its, mine, strict=True)
        ):
            return other
    return None


def _marks(route: Route, prices: Prices) -> tuple[float, ...] | None:
    cost = route.cost_minor(prices)
    if cost is None or route.bench_min is None:
        return None
    return (route.held_min, route.bench_min, cost, float(RANKS[route.verdict]))


def cheapest(routes: Sequence[Route], prices: Prices) -> Route | None:
    """The cheapest whose cost is known and which does not fail what is asked; of two alike the
    one with less table time."""
    known = [
        (cost, route.held_min, route.key, route)
        for route in routes
        if route.verdict != "fails" and (cost := route.cost_minor(prices)) is not None
    ]
    return min(known, key=lambda one: one[:3])[3] if known else None


@dataclass(frozen=True, slots=True)
class PartStock:
    """One kind of a set's parts: starts left in what is in the torch (0: another set is in it,
    None: unknown), starts a new one gives, and new ones in the drawer."""

    kind: str
    left_starts: float | None
    gives_starts: float | None
    in_drawer: int


@dataclass(frozen=True, slots=True)
class PieceNeed:
    """How many new pieces a route takes from the drawer; None where a life is unknown."""

    kind: str
    needed: int | None
    in_drawer: int

    @property
    def short(self) -> bool:
        return self.needed is not None and self.needed > self.in_drawer


def piece_needs(starts: int, stock: Sequence[PartStock]) -> list[PieceNeed]:
    """New pieces for so many starts: what is left in the torch first, then whole lives."""
    found = []
    for part in stock:
        needed: int | None = None
        if part.left_starts is not None:
            over = starts - part.left_starts
            if over <= 0:
                needed = 0
            elif part.gives_starts:
                needed = math.ceil(over / part.gives_starts)
        found.append(PieceNeed(part.kind, needed, part.in_drawer))
    return found


def finish_us(start_us: int, work_us: int, worked: Sequence[Span]) -> int | None:
    """When work begun at `start_us` ends, going on only inside `worked` spans (sorted, apart).
    None where they run out first. Microseconds UTC."""
    left = work_us
    for begin, end in worked:
        begin = max(begin, start_us)
        if end <= begin:
            continue
        if left <= end - begin:
            return begin + left
        left -= end - begin
    return None
