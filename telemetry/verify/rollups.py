"""Sums a torch's arcs by the quarter hour once more and holds the stored sums against that."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.db import connection

from telemetry.verify.arcs import ArcRow

QUARTER_US = 900_000_000
_PAGE = 20_000


@dataclass
class Sum:
    """One quarter hour. `blind`: an arc in it has no count of pierces."""

    burn_us: int = 0
    arcs: int = 0
    pierces: int = 0
    blind: bool = False


def sums(arcs: Iterable[ArcRow]) -> Iterator[tuple[int, Sum]]:
    """(start of the quarter hour, its sum) in order, from arcs in order of their start."""
    waiting: dict[int, Sum] = {}
    for _, on_us, off_us, pierces in arcs:
        own = on_us - on_us % QUARTER_US
        for start in sorted(start for start in waiting if start < own):
            yield start, waiting.pop(start)
        begun = waiting.setdefault(own, Sum())
        begun.arcs += 1
        begun.pierces += pierces or 0
        begun.blind = begun.blind or pierces is None
        at = on_us
        while off_us is not None and at < off_us:
            start = at - at % QUARTER_US
            end = min(off_us, start + QUARTER_US)
            waiting.setdefault(start, Sum()).burn_us += end - at
            at = end
    yield from sorted(waiting.items(), key=lambda each: each[0])


Stored = tuple[int, int, int, int | None]  # start, burn_us, arcs, pierces
_NO_SUM, _NOT_STORED = (1 << 62, Sum()), (1 << 62, 0, 0, None)  # behind all others


def stored(feed_id: int, torch: str) -> Iterator[Stored]:
    """The sums of one torch as they are stored, in order of time."""
    after = -(1 << 62)
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT bucket_us, burn_us, arcs, pierces FROM telemetry_rollup "
                f"WHERE feed_id = %s AND torch = %s AND bucket_us > %s ORDER BY bucket_us "
                f"LIMIT {_PAGE}",
                [feed_id, torch, after],
            )
            page = cursor.fetchall()
        yield from page
        if len(page) < _PAGE:
            return
        after = page[-1][0]


def differing(
    feed_id: int, torch: str, arcs: Iterable[ArcRow], due: set[int]
) -> Iterator[tuple[int, str]]:
    """(start, what is wrong) of each quarter hour whose stored sum is not that of its arcs. Those
    that are `due` (by number) are to be summed again by intake and say nothing."""
    left, right = sums(arcs), stored(feed_id, torch)
    want, have = next(left, _NO_SUM), next(right, _NOT_STORED)
    while want is not _NO_SUM or have is not _NOT_STORED:
        start = min(want[0], have[0])
        if want[0] < have[0]:
            problem = "has no sum"
        elif have[0] < want[0]:
            problem = "has a sum and no arc"
        else:
            problem = _wrong(want[1], have)
        if want[0] == start:
            want = next(left, _NO_SUM)
        if have[0] == start:
            have = next(right, _NOT_STORED)
        if problem and start // QUARTER_US not in due:
            yield start, problem


def _wrong(want: Sum, have: Stored) -> str:
    _, burn_us, arcs, pierces = have
    if burn_us != want.burn_us:
        return f"says {burn_us / 1e6:.1f} s of burning, its arcs {want.burn_us / 1e6:.1f} s"
    if arcs != want.arcs:
        return f"says {arcs} arcs, there are {want.arcs}"
    blind = want.blind or not want.arcs  # no arc began in it: 0 and unknown are both true
    if pierces != want.pierces and not (pierces is None and blind):
        return f"says {pierces} pierces, its arcs {want.pierces}"
    return ""
