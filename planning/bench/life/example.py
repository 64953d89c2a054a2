"""`python -m planning.bench.life.example`: each piece of the shop in the configured database that
came out for good, as it would have been forecast at a quarter, half and three quarters of its life,
from nothing but what was known at that moment."""

from __future__ import annotations

import json
import sys
from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import django

MOMENTS = (0.25, 0.5, 0.75)
LOOKED_FROM = 4  # weeks into its past


@dataclass(frozen=True)
class History:
    """A piece's starts in microseconds, its inspections (when, starts, arc seconds, mm), when it
    came out, and whether by its own wear."""

    pk: int
    part: int
    kind: str
    starts: list[int]
    seen: list[tuple[int, int, float, float]]
    out_us: int
    out: bool
    ended: bool


def run() -> dict[str, Any]:
    from planning.bench.life.scores import Said, former_rule, summed
    from planning.calc.life.learned import learn
    from planning.inputs.lives import limit_of
    from shopfloor.models import SetPart

    parts = {part.pk: part for part in SetPart.objects.all()}
    by_part: dict[int, list[History]] = defaultdict(list)
    for one in histories():
        by_part[one.part].append(one)
    said: dict[str, list[Said]] = defaultdict(list)
    for part, pieces in by_part.items():
        limit_mm = limit_of(parts[part])
        for piece in (one for one in pieces if one.out):
            for moment in MOMENTS:
                starts = round(moment * len(piece.starts))
                if starts < 10:
                    continue
                at_us = piece.starts[starts - 1] + 1
                others = [_at(one, at_us) for one in pieces
                          if one is not piece and one.starts and one.starts[0] < at_us]  # fmt: skip
                learned = learn(others, parts[part].rated_starts, limit_mm)
                readings = _readings(piece, at_us)
                rule, its_range = former_rule(starts, learned.rated, readings, limit_mm)
                found = learned.left(piece.pk, starts, readings)
                gave = len(piece.starts) - starts
                told = Said(found, gave, piece.ended, rule, its_range, moment)
                said[f"{piece.kind}s"].append(told)
                said[f"at {moment:.0%} of their life"].append(told)
                said["all"].append(told)
    return {name: summed(own) for name, own in sorted(said.items())}


def failures() -> dict[str, Any]:
    """The shop's last weeks, looked at every day: each week by what was known before it. Failures
    seen and expected, and the first day on which they were called more than chance (None: none)."""
    from django.utils import timezone

    from planning.bench.life.air import called
    from planning.calc.life.failures import Expected
    from planning.services.failures import WEEKS, failures_body

    body = failures_body(timezone.now())
    first_us = body["edges_us"][0]
    told = {
        (group, part): [Expected(mean, sd) for mean, sd in weeks]
        for part, group, weeks in body["parts"]
    }
    ended = [(group, at_us - first_us) for _piece, _part, group, at_us in body["ended"]]
    means = [week.mean for own in told.values() for week in own if week.mean is not None]
    days = range(LOOKED_FROM * 7, WEEKS * 7)
    return {
        "days": len(days),
        "called": called(told, ended, days),
        "seen": len(ended),
        "expected": sum(means),
    }


def histories() -> list[History]:
    """Every piece new when first seen. Starts of no torch that has no source are not in it."""
    from planning.calc.life.learned import ended_by_wear
    from planning.inputs.lives import limit_of
    from planning.inputs.pieces import fittings_of
    from planning.services.outlooks import ENDED
    from shopfloor.models import Fitting, Inspection, Piece
    from shopfloor.runs.arcs import to_us

    torches: dict[tuple[str, str], tuple[list[int], list[float]]] = {}
    stays: dict[int, list[Any]] = defaultdict(list)
    for stay in fittings_of():
        stays[stay.piece_id].append(stay)
    seen: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for pk, at, pit in (
        Inspection.objects.exclude(pit_mm=None)
        .order_by("at")
        .values_list("piece_id", "at", "pit_mm")
    ):
        seen[pk].append((to_us(at), pit or 0.0))
    last = {
        fit.piece_id: fit for fit in Fitting.objects.exclude(removed_at=None).order_by("removed_at")
    }
    found = []
    for piece in Piece.objects.filter(prior_starts=0).select_related("part"):
        starts: list[int] = []
        arcs: list[float] = []
        for stay in stays[piece.pk]:
            on, burn = _torch(torches, stay.table_code, stay.torch)
            first, end = bisect_left(on, stay.from_us), bisect_left(on, stay.to_us)
            starts += on[first:end]
            arcs += burn[first:end]
        own = []
        for at_us, pit in seen[piece.pk]:
            count = bisect_left(starts, at_us)
            own.append((at_us, count, sum(arcs[:count]), pit))
        taken, out = last.get(piece.pk), piece.state in ENDED
        ended = ended_by_wear(
            state=piece.state if out else "",
            cause=taken.removal_cause if taken else "",
            collateral=bool(taken and taken.collateral),
            last_pit_mm=own[-1][3] if own else None,
            limit_mm=limit_of(piece.part),
        )
        gone = to_us(taken.removed_at) if taken and taken.removed_at and out else 2**62
        found.append(
            History(piece.pk, piece.part_id, piece.part.kind, starts, own, gone, out, ended)
        )
    return found


def _torch(
    torches: dict[tuple[str, str], tuple[list[int], list[float]]], table: str, torch: str
) -> tuple[list[int], list[float]]:
    from telemetry.counted import counted
    from telemetry.models import Arc

    if (table, torch) not in torches:
        rows = counted(Arc.objects.filter(table=table, torch=torch)).order_by("on_us")
        spans = list(rows.values_list("on_us", "off_us"))
        torches[table, torch] = (
            [on for on, _off in spans],
            [((off or on) - on) / 1e6 for on, off in spans],
        )
    return torches[table, torch]


def _at(piece: History, at_us: int) -> Any:
    """What was known of a piece at a moment."""
    from planning.calc.life.learned import PieceRecord
    from planning.calc.life.records import Life

    age = bisect_left(piece.starts, at_us)
    life = Life(float(age), piece.ended and piece.out_us <= at_us)
    return PieceRecord(piece.pk, life, tuple(_readings(piece, at_us)))


def _readings(piece: History, at_us: int) -> list[Any]:
    from planning.calc.life.pit import Reading

    return [Reading(starts, arc_s, pit) for at, starts, arc_s, pit in piece.seen if at < at_us]


if __name__ == "__main__":
    django.setup()
    json.dump({"pieces": run(), "failures": failures()}, sys.stdout)
