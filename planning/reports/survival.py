"""What a part's life looks like as it was learned: how many still burn, and how its pits grow."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from planning.inputs.lives import KIND
from shopfloor.models import Piece, Summary
from shopfloor.svg.survival import Still


@dataclass(frozen=True, slots=True)
class PartLife:
    """`still` is None while too little is known. `per_start` and `per_arc_s`: mm of pit for a start
    and for a second of arc, None: no pits; 80 in 100 readings lie `pit_between` these parts of
    what they give, None: too few."""

    still: Still | None
    per_start: float | None
    per_arc_s: float
    pit_between: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Learned:
    """What was learned of a piece's part, as it is kept, and the starts of the piece."""

    part: int
    kind: str
    starts: int | None
    body: dict[str, Any]


def learned_of_pieces(pieces: Iterable[int]) -> dict[int, Learned]:
    """By piece, of those whose part was learned of. Two queries."""
    rows = Piece.objects.filter(pk__in=list(pieces)).values_list(
        "pk", "part_id", "part__kind", "outlook__starts"
    )
    own = {pk: (part, kind, starts) for pk, part, kind, starts in rows}
    keys = {str(part) for part, _kind, _starts in own.values()}
    kept = dict(Summary.objects.filter(kind=KIND, key__in=keys).values_list("key", "body"))
    return {
        pk: Learned(part, kind, starts, body)
        for pk, (part, kind, starts) in own.items()
        if (body := kept.get(str(part)))
    }


def part_lives(learned: Mapping[int, Learned]) -> dict[int, PartLife]:
    """By piece, what its part gives."""
    return {pk: _life(one.body, one.starts) for pk, one in learned.items()}


def _life(body: dict[str, Any], starts: int | None) -> PartLife:
    still = None
    if body.get("curve"):
        still = Still(
            steps=[(age, share, low, high) for age, share, low, high in body["steps"]],
            curve=[(age, share, low, high) for age, share, low, high in body["curve"]],
            out=[age for _piece, age, ended, *_rest in body["records"] if not ended],
            pieces=len(body["records"]),
            ends=body["ends"],
            now=starts,
        )
    pit = body.get("pit") or {}
    low_high = pit.get("between")
    between = (low_high[0], low_high[1]) if low_high else None
    return PartLife(still, pit.get("per_start"), pit.get("per_arc_s", 0.0), between)
