"""Made-up tables for the bench, and what their lines come to, known from how they were made.

Nothing here decodes or pairs: arcs and sums are put down while the lines are written, so they
check the program from outside it.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

BUCKET_US = 900_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_START_US = 1_772_436_600_000_000  # 2026-03-02T07:30:00Z

FEED = """
table = "{table}"
[source]
kind = "push"
[line]
format = "columns"
columns = ["seq", "time", "signal", "value"]
[time]
zone = "UTC"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
program = ["PROGRAM"]
sample_a = ["AMPS"]
sample_v = ["VOLTS"]
[order]
window_s = {window_s}
"""
KINDS = {"ARC ON": 1, "ARC OFF": 2, "PIERCE": 3, "PROGRAM": 4, "AMPS": 5, "VOLTS": 6}

Arc = tuple[str, int, int | None, str, int, str | None]  # table, on, off, ended, pierces, program


@dataclass(slots=True)
class Line:
    """One line of a table. `seq` runs on; `at_us` is UTC."""

    seq: int
    at_us: int
    signal: str
    value: str

    def raw(self) -> bytes:
        at = (_EPOCH + timedelta(microseconds=self.at_us)).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3]
        return f"{self.seq},{at},{self.signal},{self.value}\n".encode()


@dataclass(slots=True)
class Table:
    """A table's lines in order, and its arcs."""

    name: str
    lines: list[Line] = field(default_factory=list)
    arcs: list[Arc] = field(default_factory=list)

    def text(self) -> bytes:
        return b"".join(line.raw() for line in self.lines)

    def rollup(self) -> dict[int, tuple[int, int, int]]:
        """bucket -> (burning us, arcs begun, their pierces), by walking each arc."""
        sums: dict[int, list[int]] = {}
        for _, on_us, off_us, _, pierces, _ in self.arcs:
            begun = sums.setdefault(on_us // BUCKET_US, [0, 0, 0])
            begun[1] += 1
            begun[2] += pierces
            at_us, end_us = on_us, on_us if off_us is None else off_us
            while at_us < end_us:
                border_us = min((at_us // BUCKET_US + 1) * BUCKET_US, end_us)
                sums.setdefault(at_us // BUCKET_US, [0, 0, 0])[0] += border_us - at_us
                at_us = border_us
        return {bucket: (us, n, pierced) for bucket, (us, n, pierced) in sums.items()}


def make_table(name: str, count: int, seed: int) -> Table:
    """A table of `count` lines: about five a cut, programs now and then, some ends lost."""
    chance = random.Random(f"{seed}/{name}")
    table = Table(name)
    at_us, program = _START_US + chance.randrange(3600) * 1_000_000, None

    def say(signal: str, value: str, after_ms: int) -> int:
        nonlocal at_us
        at_us += after_ms * 1000
        table.lines.append(Line(len(table.lines) + 1, at_us, signal, value))
        return at_us

    while len(table.lines) < count:
        if program is None or chance.random() < 0.01:
            program = f"NEST-{chance.randrange(10_000)}.nc"
            say("PROGRAM", program, chance.randrange(2_000, 60_000))
        on_us = say("ARC ON", "", chance.randrange(800, 9_000))
        seen_us = say("PIERCE", "", chance.randrange(150, 1_500))
        for _ in range(chance.choice((0, 1, 1, 2))):
            seen_us = say("AMPS", str(chance.randrange(40, 131)), chance.randrange(200, 20_000))
        if chance.random() < 0.5:
            seen_us = say(
                "VOLTS", f"{chance.randrange(1000, 1700) / 10}", chance.randrange(50, 900)
            )
        if chance.random() < 0.02:  # its end was never sent
            table.arcs.append((name, on_us, seen_us, "lost", 1, program))
        else:
            off_us = say("ARC OFF", "", chance.randrange(100, 30_000))
            table.arcs.append((name, on_us, off_us, "off", 1, program))
    _close(table)
    return table


def _close(table: Table) -> None:
    """An end of its own for the last arc, whatever it was."""
    name, on_us, _, _, pierces, program = table.arcs[-1]
    if table.lines[-1].signal != "ARC OFF":
        last = table.lines[-1]
        table.lines.append(Line(last.seq + 1, last.at_us + 1_000_000, "ARC OFF", ""))
        table.arcs[-1] = (name, on_us, last.at_us + 1_000_000, "off", pierces, program)


@dataclass(frozen=True, slots=True)
class Faulty:
    """A table's file as a poor link leaves it, and how many lines of it are no events."""

    text: bytes
    rejects: int
    repeats: int


def spoil(table: Table, seed: int) -> Faulty:
    """Neighbours swapped within the window, lines twice, lines that are none. No line is lost."""
    chance = random.Random(seed)
    rows: list[bytes] = []
    rejects = repeats = 0
    waiting: Line | None = None
    for line in table.lines:
        if waiting is None and chance.random() < 0.01:
            waiting = line
            continue
        rows.append(line.raw())
        if chance.random() < 0.005:
            rows.append(line.raw())
            repeats += 1
        if chance.random() < 0.01:
            rows.append(chance.choice((b"\x00\xfe%d\n", b"%d,,ARC\n", b"x%d,y,z\n")) % line.seq)
            rejects += 1
        if waiting is not None:
            # Out of its place only where a line no more than a second later has come first.
            if line.at_us - waiting.at_us <= 1_000_000:
                rows.append(waiting.raw())
            else:
                rows.insert(_before(rows, line), waiting.raw())
            waiting = None
    if waiting is not None:
        rows.append(waiting.raw())
    return Faulty(b"".join(rows), rejects, repeats)


def _before(rows: list[bytes], line: Line) -> int:
    return rows.index(line.raw(), max(0, len(rows) - 4))
