"""Wear parts: how old a piece is, what is left of it, and what each run pays for it.

A first form, by counts and inspections; life estimates from failures stand elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from planning.calc.allocation import largest_remainder
from planning.calc.cost import rounded
from planning.calc.said import said, said_of_many

# About 1/16 in of pit and an electrode is due: common practice, no source. The shop, or a set's
# own maker's limit, overrides it.
PIT_LIMIT_MM = 1.6
# Our assumption: "soon" is the last tenth of a piece's expected starts.
SOON_SHARE = 0.1

Due = Literal["due", "soon", "no", "unknown"]


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


@dataclass(frozen=True, slots=True)
class Inspected:
    """What was seen; `starts` is the piece's age then, None where unknown."""

    starts: int | None
    pit_mm: float | None = None
    orifice_round: bool | None = None


@dataclass(frozen=True, slots=True)
class PieceView:
    """`left_low` and `left_high` are the ends that the inspections allow, None with fewer than
    two of them. `basis` says what it rests on."""

    starts: int | None
    arc_s: float | None
    pit_mm: float | None
    starts_left: int | None
    left_low: int | None
    left_high: int | None
    due: Due
    basis: str


def piece_view(
    *,
    starts: int | None,
    arc_s: float | None,
    rated_starts: int | None,
    inspections: Sequence[Inspected] = (),
    pit_limit_mm: float = PIT_LIMIT_MM,
) -> PieceView:
    """A piece's outlook: due by pit depth, by an orifice out of round, or by its rated starts,
    whichever comes first.

    The pit is taken to grow evenly with starts. With an unknown age only an inspection can say
    "due"; else the answer is "unknown".
    """
    pits = [seen for seen in inspections if seen.pit_mm is not None]
    pit_mm = pits[-1].pit_mm if pits else None
    rounds = [seen.orifice_round for seen in inspections if seen.orifice_round is not None]

    def view(due: Due, basis: str, left: tuple[int | None, int | None, int | None]) -> PieceView:
        return PieceView(starts, arc_s, pit_mm, *left, due, basis)

    if rounds and not rounds[-1]:
        return view("due", said("orifice out of round when last looked at"), (0, None, None))
    if pit_mm is not None and pit_mm >= pit_limit_mm:
        return view("due", said("pit {0}, limit {1}", pit_mm, pit_limit_mm), (0, None, None))
    if starts is None:
        return view("unknown", said("age when first seen is not known"), (None, None, None))
    by_pit = _left_by_pit(starts, pits, pit_limit_mm)
    by_rate = None if rated_starts is None else max(0, rated_starts - starts)
    if by_pit is None and by_rate is None:
        return view("unknown", said("no rated life and no inspection"), (None, None, None))
    basis: str
    if pit_mm is not None and by_pit is not None and (by_rate is None or by_pit[0] <= by_rate):
        left, low, high = by_pit
        basis = said_of_many(
            "pit {0} after {number} inspection, limit {1}",
            "pit {0} after {number} inspections, limit {1}",
            len(pits),
            pit_mm,
            pit_limit_mm,
        )
    else:
        left, low, high = by_rate or 0, None, None
        basis = said("rated {rated_starts:,} starts", rated_starts=rated_starts or 0)
    due: Due = "no"
    if left <= 0:
        due = "due"
    elif left <= SOON_SHARE * (starts + left):
        due = "soon"
    return view(due, basis, (left, low, high))


def _left_by_pit(
    starts: int, pits: Sequence[Inspected], limit_mm: float
) -> tuple[int, int | None, int | None] | None:
    """Starts left until the pit is at its limit: by the last inspection, and the least and most
    that any inspection's rate gives. None without an inspection that shows a rate."""
    rates = [p.pit_mm / p.starts for p in pits if p.pit_mm and p.starts]
    if not rates:
        return None
    lefts = [max(0, int(limit_mm / rate) - starts) for rate in rates]
    if len(lefts) < 2:
        return lefts[0], None, None
    return lefts[-1], min(lefts), max(lefts)
