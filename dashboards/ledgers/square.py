"""The price of squareness as the cost page reads it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dashboards.records import records
from planning.reports.squareness import Squareness

WORDS = {
    "not asked for": "nobody asked for it",
    "asked for": "asked for",
    "fine was cheaper": "fine was cheaper with the clean-up",
    "not enough checks": "fast has not enough checks to tell",
    "no fast route": "no fast set can cut it",
    "unpriced": "a cost is unknown",
}


@dataclass(frozen=True, slots=True)
class SquareRow:
    """One job: asked is the squarest u range of its lines, "none" where nothing is asked."""

    job_id: int | None
    job: str
    title: str
    asked: str
    cut_m: float
    hours: float
    more_minor: int


def by_job(found: Squareness) -> list[SquareRow]:
    """The dearest first."""
    sums: dict[int | None, list[dict[Any, Any]]] = {}
    for row in records(found.runs):
        sums.setdefault(row["job_id"], []).append(row)
    rows = [
        SquareRow(
            job_id,
            own[0]["job"],
            own[0]["title"],
            _asked({row["asked"] for row in own}),
            sum(row["cut_m"] for row in own),
            sum(row["hours_more"] for row in own),
            sum(int(row["more_minor"]) for row in own),
        )
        for job_id, own in sums.items()
    ]
    return sorted(rows, key=lambda row: -row.more_minor)


def _asked(ranges: set[int | None]) -> str:
    named = sorted(one for one in ranges if one is not None)
    said = [f"range {one}" for one in named] + (["none"] if None in ranges else [])
    return ", ".join(said)


def standing(found: Squareness) -> list[tuple[str, float]]:
    """Why metres were cut fine, the most first."""
    rows = [(WORDS.get(word, word), metres) for word, metres in found.standing.items()]
    return sorted(rows, key=lambda row: -row[1])


def standing_words(found: Squareness) -> str:
    """All metres cut fine and why, in one line."""
    whole = sum(found.standing.values())
    said = "; ".join(f"{metres:,.0f} m {why}" for why, metres in standing(found))
    return f"of {whole:,.0f} m cut fine: {said}" if whole else "nothing was cut fine"
