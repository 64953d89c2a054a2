"""The lines the demo's tables would have sent: one CSV a table, in the form its feed describes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from shopfloor.demo.catalogue import DESIGNS
from shopfloor.demo.chart import SETS
from shopfloor.demo.rows import Arc, RunRow

FEED = """\
# An example source: a table that sends a line for each thing it does.
table = "{table}"
torch = "1"

[source]
kind = "serial"
port = "{port}"
baud = 115200

[line]
format = "columns"
separator = ","
columns = ["seq", "time", "signal", "value"]

[time]
from = "line"
format = "iso"

[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
program = ["PROGRAM"]
sample_a = ["AMPS"]

[knows]
contact = "transfer"
pierces = true

[order]
window_s = 0.2
"""
SAMPLE_EVERY = 12
CURRENT = {demo.code: demo.current_a for demo in SETS}


def stamp(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds")[:-6] + "Z"


def arc_lines(arc: Arc, amps: float | None) -> Iterator[tuple[float, str, str]]:
    """One arc as (time, signal, value). A start without transfer shows no pierce and no current;
    the table reports its current now and then only (`amps` None: not this time)."""
    yield arc.on, "ARC ON", ""
    if arc.pierced:
        if amps is not None:
            yield arc.on + 0.5 * arc.pierce_s, "AMPS", f"{amps:.1f}"
        yield arc.on + arc.pierce_s, "PIERCE", ""
    yield arc.off, "ARC OFF", ""


def history_lines(
    runs: Iterable[RunRow], silent: Iterable[tuple[float, float]]
) -> Iterator[tuple[float, str, str]]:
    quiet = list(silent)
    for run in runs:
        amps = CURRENT[DESIGNS[run.lot.design].set]
        yield run.opened + 30, "PROGRAM", f"K-{run.lot.order.number}-{run.lot.position + 1}"
        for number, arc in enumerate(run.arcs):
            if not any(begun <= arc.on <= ended for begun, ended in quiet):
                yield from arc_lines(arc, None if number % SAMPLE_EVERY else amps)


def write_csv(path: Path, lines: Iterable[tuple[float, str, str]]) -> int:
    """Writes the lines numbered from 1; returns how many."""
    count = 0
    with path.open("w", encoding="ascii", newline="") as out:
        for count, (at, signal, value) in enumerate(lines, 1):
            out.write(f"{count},{stamp(at)},{signal},{value}\n")
    return count
