"""Pieces that burnt in a stretch of time, with their starts as they came, and which of them ended
by their own wear."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from planning.calc.life.failures import Dated, PartAtRisk
from planning.calc.life.learned import ended_by_wear
from planning.inputs.chunks import chunked
from planning.inputs.lives import learned_of
from planning.inputs.pieces import fittings_of
from shopfloor.models import Fitting, Piece, PieceUse, SetPart
from shopfloor.runs.arcs import to_us

KIND = "failures"  # of the `Summary` they are kept in


@dataclass(frozen=True, slots=True)
class Ended:
    """A failure: the piece, its part and set, when, and why. Of one incident there is one."""

    piece: int
    part: int
    group: int
    at_us: int


@dataclass(frozen=True, slots=True)
class AtRisk:
    """`unknown`: pieces that burnt and whose age nobody knows; they are left out on both sides."""

    parts: tuple[PartAtRisk, ...]
    ended: tuple[Ended, ...]
    unknown: int


def at_risk(since: datetime, until: datetime) -> AtRisk:
    """Every part with a piece that was in a torch. A number of queries that is always the same;
    rows as many as were fitted since, and the newest pieces that were learned of each part."""
    stays: dict[int, int] = {}
    for stay in fittings_of(span=(since, until)):
        stays.setdefault(stay.piece_id, stay.from_us)
    pieces = sorted(stays)
    rows = chunked(
        pieces,
        lambda some: Piece.objects.filter(pk__in=some).values_list(
            "pk", "part_id", "part__wear_set_id", "prior_starts", "outlook__starts",
            "outlook__pit_mm", named=True,
        ),
    )  # fmt: skip
    known = [row for row in rows if row.prior_starts is not None and row.outlook__starts]
    learned = learned_of({row.part_id for row in rows})
    last = _last_stays(pieces)
    limits = {part: one.limit_mm for part, one in learned.items()}
    ended = [_ended(row, last.get(row.pk), limits[row.part_id]) for row in known]
    found = [one for one in ended if one is not None]
    uses = _uses(pieces, since)
    first = _first_stays(pieces)
    dated = {
        row.pk: Dated(
            row.pk, float(row.outlook__starts), float(row.prior_starts),
            first.get(row.pk, stays[row.pk]),
            next((one.at_us for one in found if one.piece == row.pk), None), uses[row.pk],
        )
        for row in known
    }  # fmt: skip
    parts = _parts(known, dated, learned)
    nobody = sum(row.prior_starts is None for row in rows)  # a fresh piece has none yet, and counts
    return AtRisk(tuple(parts), tuple(_incidents(found, last)), nobody)


def _parts(
    known: Iterable[Any], dated: Mapping[int, Dated], learned: Mapping[int, Any]
) -> Iterable[PartAtRisk]:
    by_part: dict[int, list[Dated]] = defaultdict(list)
    sets: dict[int, int] = {}
    for row in known:
        by_part[row.part_id].append(dated[row.pk])
        sets[row.part_id] = row.part__wear_set_id
    same = dict(SetPart.objects.values_list("pk", "same_as"))
    for part, own in by_part.items():
        main = same.get(part) or part
        others = [
            other for other in by_part if other != part and (same.get(other) or other) == main
        ]
        yield PartAtRisk(
            part,
            sets[part],
            learned[part].rated,
            tuple(own),
            tuple(one.life for one in learned[part].records if one.piece not in dated),
            tuple(piece for other in others for piece in by_part[other]),
        )


def _last_stays(pieces: list[int]) -> dict[int, Any]:
    """How each came out the last time; None while it is in."""
    rows = chunked(
        pieces,
        lambda some: (
            Fitting.objects.filter(piece__in=some)
            .order_by("fitted_at", "pk")
            .values_list(
                "piece_id", "removed_at", "removal_state", "removal_cause", "collateral",
                "incident", named=True,
            )
        ),
    )  # fmt: skip
    return {row.piece_id: row for row in rows}


def _first_stays(pieces: list[int]) -> dict[int, int]:
    found: dict[int, int] = {}
    for stay in fittings_of(pieces=pieces):
        found.setdefault(stay.piece_id, stay.from_us)
    return found


def _ended(row: Any, stay: Any, limit_mm: float) -> Ended | None:
    if stay is None or stay.removed_at is None:
        return None
    if not ended_by_wear(
        state=stay.removal_state, cause=stay.removal_cause, collateral=stay.collateral,
        last_pit_mm=row.outlook__pit_mm, limit_mm=limit_mm,
    ):  # fmt: skip
        return None
    return Ended(row.pk, row.part_id, row.part__wear_set_id, to_us(stay.removed_at))


def _incidents(ended: Iterable[Ended], last: Mapping[int, Any]) -> list[Ended]:
    """One of each incident, oldest first."""
    found: dict[Any, Ended] = {}
    for one in sorted(ended, key=lambda one: (one.at_us, one.piece)):
        found.setdefault(last[one.piece].incident or one.piece, one)
    return list(found.values())


def _uses(pieces: list[int], since: datetime) -> dict[int, tuple[tuple[int, int], ...]]:
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    rows = chunked(
        pieces,
        lambda some: PieceUse.objects.filter(piece__in=some, at__gte=since).values_list(
            "piece_id", "at", "starts"
        ),
    )
    for piece, at, starts in rows:
        found[piece].append((to_us(at), starts))
    return defaultdict(tuple, {piece: tuple(sorted(own)) for piece, own in found.items()})
