"""What a part's life looks like as it was learned: how many still burn, and how its pits grow."""

from __future__ import annotations

from collections.abc import Iterable
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


def part_lives(pieces: Iterable[int]) -> dict[int, PartLife]:
    """By piece, what was learned of its part. Two queries, of rows that are kept."""
    rows = list(
        Piece.objects.filter(pk__in=list(pieces)).values_list("pk", "part_id", "outlook__starts")
    )
    keys = {str(part) for _pk, part, _starts in rows}
    kept = dict(Summary.objects.filter(kind=KIND, key__in=keys).values_list("key", "body"))
    found = {}
    for pk, part, starts in rows:
        if body := kept.get(str(part)):
            found[pk] = _life(body, starts)
    return found


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
