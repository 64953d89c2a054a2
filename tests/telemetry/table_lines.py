"""A simulated table for tests: its lines, and what they come to worked out a second, slow way."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

FEED = """
table = "north"
[source]
kind = "csv_file"
path = "{path}"
[line]
format = "columns"
columns = [{columns}]
[time]
zone = "UTC"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
program = ["PROGRAM"]
sample_a = ["AMPS"]
[order]
window_s = {window_s}
"""


def feed_text(path: Path | str, *, numbered: bool = True, window_s: float = 2.0) -> str:
    columns = ["seq"] if numbered else []
    columns += ["time", "torch", "signal", "value"]
    quoted = ", ".join(f'"{column}"' for column in columns)
    return FEED.format(path=path, columns=quoted, window_s=window_s)


@dataclass(frozen=True)
class Line:
    seq: int
    at: datetime
    torch: str
    signal: str
    value: str

    def text(self, *, numbered: bool) -> str:
        head = f"{self.seq}," if numbered else ""
        return f"{head}{self.at.isoformat()},{self.torch},{self.signal},{self.value}"


def simulate(seed: int, count: int, *, whole_seconds: bool = False) -> list[Line]:
    """Lines in order: two torches, arcs with and without an end, strays, programs, samples."""
    chance = random.Random(seed)
    at = datetime(2026, 3, 10, 6, 0)
    lines: list[Line] = []
    while len(lines) < count:
        step_s = chance.choice([0, 0, 1, 3, 40]) if whole_seconds else chance.uniform(0.01, 30)
        at += timedelta(seconds=int(step_s) if whole_seconds else round(step_s, 3))
        signal = chance.choices(
            ["ARC ON", "ARC OFF", "PIERCE", "AMPS", "PROGRAM"], [30, 28, 25, 30, 3]
        )[0]
        torch = "" if signal == "PROGRAM" else chance.choice("12")
        value = {"PROGRAM": f"N{len(lines)}.nc", "AMPS": str(len(lines) % 130)}.get(signal, "")
        # A value on every line keeps two lines of one second apart where no number does.
        lines.append(Line(len(lines) + 1, at, torch, signal, value or f"x{len(lines)}"))
    return lines


def arcs_of(lines: list[Line]) -> set[tuple]:
    """(torch, on, off, ended, pierces, program) of each arc, by looking back and forth in the
    whole list for every arc_on: no state is carried, unlike in the program."""

    def us(moment: datetime) -> int:
        return round((moment - datetime(1970, 1, 1)) / timedelta(microseconds=1))

    found = set()
    for n, line in enumerate(lines):
        if line.signal != "ARC ON":
            continue
        mine = [other for other in lines[n + 1 :] if other.torch == line.torch]
        end = next((i for i, o in enumerate(mine) if o.signal in ("ARC ON", "ARC OFF")), None)
        inside = mine[:end]
        burning = [
            o for o in inside
            if o.signal == "PIERCE" or (o.signal == "AMPS" and float(o.value) > 0)
        ]  # fmt: skip
        pierces = sum(o.signal == "PIERCE" for o in inside)
        programs = [o.value for o in lines[:n] if o.signal == "PROGRAM"]
        program = programs[-1] if programs else None
        if end is None:
            off, ended = None, "open"
        elif mine[end].signal == "ARC OFF":
            off, ended = us(mine[end].at), "off"
        else:
            off, ended = us(burning[-1].at if burning else line.at), "lost"
        found.add((line.torch, us(line.at), off, ended, pierces, program))
    return found


def strays_of(lines: list[Line]) -> tuple[int, int]:
    """(arc_offs with no arc, pierces outside one): the last on or off before them was no on."""
    offs = pierces = 0
    for n, line in enumerate(lines):
        before = [
            o.signal for o in lines[:n]
            if o.torch == line.torch and o.signal in ("ARC ON", "ARC OFF")
        ]  # fmt: skip
        outside = not before or before[-1] == "ARC OFF"
        offs += line.signal == "ARC OFF" and outside
        pierces += line.signal == "PIERCE" and outside
    return offs, pierces
