"""Sums a torch's arcs by the quarter hour once more and holds the stored sums against that."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Any

from django.db import connection

from telemetry.said import said
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


Sums = dict[str, Sum]  # of one quarter hour, by table: a source may have moved within it


def sums(arcs: Iterable[ArcRow]) -> Iterator[tuple[int, Sums]]:
    """(start of the quarter hour, its sums) in order, from arcs in order of their start."""
    waiting: dict[int, Sums] = {}
    for table, on_us, off_us, pierces in arcs:
        own = on_us - on_us % QUARTER_US
        for start in sorted(start for start in waiting if start < own):
            yield start, waiting.pop(start)
        begun = waiting.setdefault(own, {}).setdefault(table, Sum())
        begun.arcs += 1
        begun.pierces += pierces or 0
        begun.blind = begun.blind or pierces is None
        at = on_us
        while off_us is not None and at < off_us:
            start = at - at % QUARTER_US
            end = min(off_us, start + QUARTER_US)
            waiting.setdefault(start, {}).setdefault(table, Sum()).burn_us += end - at
            at = end
    yield from sorted(waiting.items(), key=lambda each: each[0])


Stored = tuple[int, int, int | None]  # burn_us, arcs, pierces
_LAST = 1 << 62  # behind all quarter hours


def stored(feed_id: int, torch: str) -> Iterator[tuple[int, dict[str, Stored]]]:
    """(start of the quarter hour, its sums by table) as they are stored, in order of time."""
    for start, rows in groupby(_stored_rows(feed_id, torch), key=itemgetter(0)):
        yield (
            start,
            {table: (burn_us, arcs, pierces) for _, table, burn_us, arcs, pierces, _ in rows},
        )


def _stored_rows(feed_id: int, torch: str) -> Iterator[Any]:
    after = (-_LAST, 0)
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                'SELECT bucket_us, "table", burn_us, arcs, pierces, id FROM telemetry_rollup '
                "WHERE feed_id = %s AND torch = %s AND bucket_us >= %s AND (bucket_us, id) > "
                f"(%s, %s) ORDER BY bucket_us, id LIMIT {_PAGE}",
                [feed_id, torch, after[0], *after],
            )
            page = cursor.fetchall()
        yield from page
        if len(page) < _PAGE:
            return
        after = (page[-1][0], page[-1][-1])


def differing(
    feed_id: int, torch: str, arcs: Iterable[ArcRow], due: set[int]
) -> Iterator[tuple[int, str]]:
    """(start, what is wrong) of each quarter hour whose stored sum is not that of its arcs. Those
    that are `due` (by number) are to be summed again by intake and say nothing."""
    left, right = sums(arcs), stored(feed_id, torch)
    no_arc: tuple[int, Sums] = (_LAST, {})
    no_sum: tuple[int, dict[str, Stored]] = (_LAST, {})
    want, have = next(left, no_arc), next(right, no_sum)
    while want is not no_arc or have is not no_sum:
        start = min(want[0], have[0])
        wanted, known = Sums(), dict[str, Stored]()
        if want[0] == start:
            wanted, want = want[1], next(left, no_arc)
        if have[0] == start:
            known, have = have[1], next(right, no_sum)
        tables = sorted({*wanted, *known})
        problems = [_wrong(wanted.get(table), known.get(table)) for table in tables]
        if any(problems) and start // QUARTER_US not in due:
            yield start, next(filter(None, problems))


def _wrong(want: Sum | None, have: Stored | None) -> str:
    if want is None:
        return said("has a sum and no arc")
    if have is None:
        return said("has no sum")
    burn_us, arcs, pierces = have
    if burn_us != want.burn_us:
        return said(
            "says {sum_s:.1f} s of burning, its arcs {arcs_s:.1f} s",
            sum_s=burn_us / 1e6,
            arcs_s=want.burn_us / 1e6,
        )
    if arcs != want.arcs:
        return said("says {stored} arcs, there are {there}", stored=arcs, there=want.arcs)
    blind = want.blind or not want.arcs  # no arc began in it: 0 and unknown are both true
    if pierces != want.pierces and not (pierces is None and blind):
        return said("says {stored} pierces, its arcs {there}", stored=pierces, there=want.pierces)
    return ""
