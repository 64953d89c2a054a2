"""Pairs a feed's stored events once more, plainly, and holds the arcs stored against that."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import nan
from pathlib import Path
from typing import Any

from django.db import connection

from telemetry.events import ARC_OFF, ARC_ON, PIERCE, PROGRAM, SAMPLE_A, SAMPLE_V, UNKNOWN
from telemetry.models import Feed
from telemetry.verify.sorting import Sorter, row

_PAGE = 20_000


class _Torch:
    """One torch while its events go by in order."""

    def __init__(self, program: str | None) -> None:
        self.program = program
        self.key: bytes | None = None  # of the arc_on that burns
        self.on_us = self.seen_us = 0
        self.pierces: int | None = 0
        self.first_us: int | None = None
        self.of: str | None = None
        self.amps: list[float] = []
        self.volts: list[float] = []

    def begin(self, key: bytes, at_us: int) -> None:
        self.key, self.on_us, self.seen_us, self.of = key, at_us, at_us, self.program
        self.pierces, self.first_us, self.amps, self.volts = 0, None, [], []


class Paired:
    """Arcs and strays that the events of a feed come to. `knows_pierces` holds what the versions
    of its description say: where they differ, an arc may stand with its pierces or without."""

    def __init__(self, feed: Feed, folder: Path, knows_pierces: set[bool]) -> None:
        self._knows = knows_pierces
        self._feed_id = feed.pk
        self.arcs, self.strays = Sorter(folder), Sorter(folder)
        self._torches: dict[str, _Torch] = {}
        self._program: str | None = None  # of the whole table
        for key, at_us, torch, kind, number, text in _events(feed.pk):
            self._take(bytes(key), at_us, torch, kind, number, text)
        for torch, own in self._torches.items():
            self._end(torch, own, None, "open")

    def _take(
        self, key: bytes, at_us: int, torch: str, kind: int, number: float | None, text: str | None
    ) -> None:
        if kind == PROGRAM and not torch:
            self._program = text
            for each in self._torches.values():
                each.program = text
            return
        own = self._torches.get(torch)
        if own is None:
            own = self._torches[torch] = _Torch(self._program)
        if kind == PROGRAM:
            own.program = text
        elif kind == ARC_ON:
            self._end(torch, own, own.seen_us, "lost")
            own.begin(key, at_us)
        elif own.key is None:
            if kind == ARC_OFF or (kind == PIERCE and number != UNKNOWN):
                self.strays.add(row(key, hash((torch, at_us, kind == ARC_OFF)), at_us))
        elif kind == ARC_OFF:
            self._end(torch, own, at_us, "off")
        elif kind == PIERCE and number == UNKNOWN:
            own.pierces = None
        elif kind == PIERCE:
            if own.pierces is not None:
                own.pierces += 1 if number is None else int(number)
            own.seen_us = at_us
            own.first_us = at_us if own.first_us is None else own.first_us
        elif number is not None and number > 0 and kind in (SAMPLE_A, SAMPLE_V):
            (own.amps if kind == SAMPLE_A else own.volts).append(number)
            own.seen_us = at_us

    def _end(self, torch: str, own: _Torch, off_us: int | None, ended: str) -> None:
        if own.key is None:
            return
        for known in self._knows:
            mark = arc_mark(
                torch, own.on_us, off_us, ended, own.pierces if known else None, own.first_us,
                own.of,
            )  # fmt: skip
            self.arcs.add(row(own.key, mark, _mean(own.amps), _mean(own.volts)))
        own.key = None

    def close(self) -> None:
        self.arcs.close()
        self.strays.close()


def arc_mark(
    torch: str, on_us: int, off_us: int | None, ended: str, pierces: int | None,
    first_us: int | None, program: str | None,
) -> int:  # fmt: skip
    return hash((torch, on_us, off_us, ended, pierces, first_us, program))


def _mean(values: list[float]) -> float:
    return sum(values) / len(values) if values else nan


def _events(feed_id: int) -> Iterator[tuple[Any, int, str, int, float | None, str | None]]:
    """All of them in order of time."""
    columns = "key, at_us, torch, kind, number, text, seq, tie"
    where, args = "feed_id = %s", [feed_id]
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT {columns} FROM telemetry_event WHERE {where} "
                f"ORDER BY at_us, seq, tie, key LIMIT {_PAGE}",
                args,
            )
            page = cursor.fetchall()
        for each in page:
            yield each[:6]
        if len(page) < _PAGE:
            return
        key, at_us, *_, seq, tie = page[-1]
        where = "feed_id = %s AND at_us >= %s AND (at_us, seq, tie, key) > (%s, %s, %s, %s)"
        args = [feed_id, at_us, at_us, seq, tie, key]


def stored_strays(feed_id: int, folder: Path) -> Sorter:
    found = Sorter(folder)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT event_key, torch, at_us, kind FROM telemetry_stray WHERE feed_id = %s",
            [feed_id],
        )
        while page := cursor.fetchmany(_PAGE):
            found.extend(
                row(bytes.fromhex(key), hash((torch, at_us, kind == "off")), at_us)
                for key, torch, at_us, kind in page
            )
    return found


ArcRow = tuple[str, int, int | None, int | None]  # table, on_us, off_us, pierces


def stored_torches(feed_id: int) -> list[str]:
    """All that arcs or sums of a feed name."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT torch FROM telemetry_arc WHERE feed_id = %s "
            "UNION SELECT torch FROM telemetry_rollup WHERE feed_id = %s",
            [feed_id, feed_id],
        )
        return sorted(torch for (torch,) in cursor.fetchall())


class StoredArcs:
    """The arc table of one feed read once: into `sorted`, and past whoever sums the rows. `tables`
    says at which table lines were read, by version of the description."""

    def __init__(self, feed: Feed, folder: Path, tables: Mapping[int, str]) -> None:
        self._feed, self._tables = feed, tables
        self.sorted = Sorter(folder)
        self.odd: list[str] = []  # keys that name another source or torch
        self.misplaced: list[int] = []  # when arcs began that stand at another table

    def of(self, torch: str) -> Iterator[ArcRow]:
        """A torch's arcs in order of their start."""
        prefix = f"{self._feed.name}|{torch}|"
        where = "feed_id = %s AND torch = %s"
        args: list[int | str] = [self._feed.pk, torch]
        while True:
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT id, key, on_us, off_us, ended, pierces, first_pierce_us, program, "
                    f'amps, volts, feed_version, "table" FROM telemetry_arc WHERE {where} '
                    f"ORDER BY on_us, id LIMIT {_PAGE}",
                    args,
                )
                page = cursor.fetchall()
            for _, key, *values, amps, volts, version, table in page:
                self._keep(key, prefix, (torch, *values), amps, volts)
                on_us, off_us, _, pierces, *_ = values
                if table != self._tables.get(version, table):
                    self.misplaced.append(on_us)
                yield table, on_us, off_us, pierces
            if len(page) < _PAGE:
                return
            last = page[-1]
            where = "feed_id = %s AND torch = %s AND on_us >= %s AND (on_us, id) > (%s, %s)"
            args = [self._feed.pk, torch, last[2], last[2], last[0]]

    def _keep(
        self, key: str, prefix: str, said: tuple[Any, ...], amps: float | None, volts: float | None
    ) -> None:
        tail = key.removeprefix(prefix)
        try:
            raw = bytes.fromhex(tail)
        except ValueError:
            raw = b""
        if len(raw) != 16 or tail == key:
            self.odd.append(key)
            return
        x, y = (nan if value is None else value for value in (amps, volts))
        self.sorted.add(row(raw, arc_mark(*said), x, y))
