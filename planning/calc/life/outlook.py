"""A piece's outlook: what inspection says, which decides, and what its life and pit say, which
advises."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from planning.calc.life.learned import Learned
from planning.calc.life.left import Left
from planning.calc.life.pit import Reading
from planning.calc.life.weibull import LEAST_ENDS
from planning.calc.said import listed, said, said_of_many

# About 1/16 in of pit and an electrode is due: common practice, no source. The shop, or a set's
# own maker's limit, overrides it.
PIT_LIMIT_MM = 1.6
LEVEL = 0.80  # of the ranges that pages show
# Our assumption: "soon" is a quarter's chance to end within the next tenth of a mean life.
SOON_CHANCE, SOON_SHARE = 0.25, 0.1

Due = Literal["due", "soon", "no", "unknown"]


@dataclass(frozen=True, slots=True)
class Inspected:
    """What was seen; `starts` and `arc_s` are the piece's age then, None where unknown."""

    starts: int | None
    pit_mm: float | None = None
    orifice_round: bool | None = None
    arc_s: float | None = None


@dataclass(frozen=True, slots=True)
class PieceView:
    """`starts_left` is as likely too much as too little; `LEVEL` of pieces like it end within
    `left_low` to `left_high`. `basis` says what it rests on, `rests_on` the same in numbers."""

    starts: int | None
    arc_s: float | None
    pit_mm: float | None
    starts_left: int | None
    left_low: int | None
    left_high: int | None
    due: Due
    basis: str
    rests_on: dict[str, Any] = field(default_factory=dict)


def readings_of(inspections: Sequence[Inspected]) -> tuple[Reading, ...]:
    """Pits with the age they were read at."""
    return tuple(
        Reading(seen.starts, seen.arc_s or 0.0, seen.pit_mm)
        for seen in inspections
        if seen.starts is not None and seen.pit_mm is not None
    )


def piece_view(
    *,
    piece: int,
    starts: int | None,
    arc_s: float | None,
    learned: Learned,
    inspections: Sequence[Inspected] = (),
    out: bool = False,
) -> PieceView:
    """The outlook of a piece that is in use or waits. `out`: it is neither.

    A pit at its limit or an orifice out of round is due now, whatever a model says. With an unknown
    age only an inspection can say "due". The rated life says so only while fewer than 3 pieces have
    ended: then it is all there is.
    """
    pit_mm = next((seen.pit_mm for seen in reversed(inspections) if seen.pit_mm is not None), None)
    rounds = [seen.orifice_round for seen in inspections if seen.orifice_round is not None]

    def view(due: Due, basis: str, found: Left | None = None, **more: Any) -> PieceView:
        left, low, high = (0 if due == "due" else None, None, None)
        if found is not None:
            left, low, high = _rounded(found)
        return PieceView(starts, arc_s, pit_mm, left, low, high, due, basis, more)

    if out:
        return view("no", said("it is out of use"))
    if rounds and not rounds[-1]:
        return view("due", said("orifice out of round when last looked at"))
    if pit_mm is not None and pit_mm >= learned.limit_mm:
        return view("due", said("pit {0}, limit {1}", pit_mm, learned.limit_mm))
    if starts is None:
        return view("unknown", said("age when first seen is not known"))
    few = learned.ends < LEAST_ENDS
    if few and learned.rated is not None and starts >= learned.rated:
        return view("due", said("rated {rated_starts:,} starts", rated_starts=learned.rated))
    readings = readings_of(inspections)
    found = learned.left(piece, starts, readings)
    if found is None:
        return view("unknown", said("no rated life, and fewer than 3 like it have ended"))
    own = learned.pit_says(readings)
    mean = starts + found.median if few else learned.whole.mean
    soon = 1 - found.reaches(SOON_SHARE * mean) >= SOON_CHANCE
    more = {
        "ends": learned.ends,
        "pieces": len(learned.records),
        "rated": learned.rated,
        "mean": None if few else round(mean),
        "pits": own.n if own else 0,
        "pit_age": round(own.age) if own else None,
    }
    basis = _basis(learned, more, pit_mm if own else None)
    return view("soon" if soon else "no", basis, found, **more)


def _rounded(found: Left) -> tuple[int, int, int]:
    low, high = found.between(LEVEL)
    return round(found.median), round(low), round(high)


def _basis(learned: Learned, more: dict[str, Any], pit_mm: float | None) -> str:
    parts: list[str] = []
    if more["mean"] is not None:
        parts.append(
            said_of_many(
                "{number} like it has ended; they last {mean:,} starts on average",
                "{number} like it have ended; they last {mean:,} starts on average",
                learned.ends,
                mean=more["mean"],
            )
        )
    elif learned.rated is not None:
        parts.append(
            said_of_many(
                "rated {rated:,} starts; {number} like it has ended, 3 needed",
                "rated {rated:,} starts; {number} like it have ended, 3 needed",
                learned.ends,
                rated=learned.rated,
            )
        )
    if pit_mm is not None:
        parts.append(
            said_of_many(
                "pit {0} after {number} inspection, limit {1}",
                "pit {0} after {number} inspections, limit {1}",
                more["pits"],
                pit_mm,
                learned.limit_mm,
            )
        )
    return listed(parts, "; ")
