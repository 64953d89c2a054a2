"""`bench kill`: intake killed at random instants, a file and a port beside each other, and a count
afterwards that uses nothing of intake's own code.

Each round forks a process that runs `manage.py intake` as it is, from a program that has loaded
Django once: a round costs half a second. Lines are written while it runs; SIGKILL ends it, also
while it starts or migrates. What must hold at the end: of the file every line, of the port every
line that stood in an intact record on disk when intake was killed, each stored once; nothing
stored that was never sent; an arc for each burn of the file, none more.
"""

from __future__ import annotations

import contextlib
import os
import pty
import random
import signal
import struct
import sys
import time
import traceback
import tty
import zlib
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from telemetry.bench.apart import apart

_WORDS = ("ARC ON,", "PIERCE,", "AMPS,61", "AMPS,62", "ARC OFF,")  # a burn of four seconds
_FEED = """
table = "{name}"
[source]
{source}
[line]
format = "columns"
columns = ["seq", "time", "signal", "value"]
[time]
zone = "UTC"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
sample_a = ["AMPS"]
"""
_EARLY = 0.2  # share of the rounds that are killed while intake starts
_STARTS_S = 60.0
_SAID_EACH = 50
_HEADS = ("sent", "on_disk", "stored", "missing", "doubled", "strange")
_BEGAN = datetime(2026, 3, 10, tzinfo=UTC)
# As in the description of the format: mark, crc, length, sequence, two clocks, kind.
_MARK, _HEADER = b"\xf7JR\x0b", struct.Struct("<IIQqqB")


def run(*, quick: bool, rounds: int | None = None) -> dict[str, Any]:
    """A thousand rounds, twenty with `quick`, or as many as asked for."""
    rounds = rounds or (20 if quick else 1000)
    return apart("telemetry.bench.kill", {"rounds": rounds})


def table(answer: dict[str, Any]) -> list[str]:
    """The answer for people."""
    lines = [
        f"{answer['rounds']} kills in {answer['seconds']:.0f} s on {answer['database']}, "
        f"{answer['early']} of them while it started",
        "      " + "".join(f"{head:>10}" for head in _HEADS),
    ]
    for name in ("file", "port"):
        row = answer[name]
        lines.append(f"{name:<6}" + "".join(f"{row[head]:>10}" for head in _HEADS))
    arcs = answer["file"]
    lines.append(f"arcs of the file: {arcs['arcs']}, burns written: {arcs['burns']}")
    lines.append("nothing is lost or doubled" if answer["met"] else "NOT HELD")
    return lines


def measure(*, rounds: int, seed: int = 20260310) -> dict[str, Any]:
    """The rounds, in the data folder and on the database of this process."""
    from django.db import connection

    chance = random.Random(seed)
    began = time.monotonic()
    with _sources() as (file, port):
        connection.close()
        early = 0
        for n in range(1, rounds + 1):
            early += _round(chance, file, port)
            port.note_what_is_on_disk()
            if n % _SAID_EACH == 0:
                sys.stderr.write(f"{n} rounds, {time.monotonic() - began:.0f} s\n")
        _wait_for(_forked("--once"))
        answer: dict[str, Any] = {
            "rounds": rounds,
            "early": early,
            "database": connection.vendor,
            "seconds": round(time.monotonic() - began, 1),
            "file": {**_counted("file", set(file.sent), set(file.sent)), **_arcs(file)},
            "port": _counted("port", set(port.sent), port.on_disk),
        }
    counts = [answer[name] for name in ("file", "port")]
    wrong = sum(row["missing"] + row["doubled"] + row["strange"] for row in counts)
    return {**answer, "met": wrong == 0 and answer["file"]["arcs"] == answer["file"]["burns"]}


class _Lines:
    """Numbered lines, a second apart."""

    def __init__(self) -> None:
        self.sent: list[int] = []

    def next_text(self, count: int) -> str:
        text = ""
        for seq in range(len(self.sent) + 1, len(self.sent) + count + 1):
            at = (_BEGAN + timedelta(seconds=seq)).replace(tzinfo=None).isoformat()
            text += f"{seq},{at},{_WORDS[(seq - 1) % 5]}\n"
            self.sent.append(seq)
        return text


class _File(_Lines):
    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path
        path.touch()

    def write(self, chance: random.Random) -> None:
        """A few lines, the last of them in two goes."""
        raw = self.next_text(chance.randint(1, 30))
        cut = chance.randrange(len(raw) + 1)
        for part in (raw[:cut], raw[cut:]):
            with self.path.open("a") as handle:
                handle.write(part)
            time.sleep(chance.uniform(0, 0.004))


class _Port(_Lines):
    """A pseudo-serial line. Both its ends stay open: what intake did not take waits."""

    def __init__(self, journal: Path) -> None:
        super().__init__()
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        self.on_disk: set[int] = set()
        self._journal = journal
        self._read: dict[Path, int] = {}

    def write(self, chance: random.Random) -> None:
        os.write(self.master, self.next_text(chance.randint(1, 8)).encode())
        time.sleep(chance.uniform(0, 0.01))

    def note_what_is_on_disk(self) -> None:
        """Whole lines within intact records that came since last asked."""
        for path in sorted(self._journal.glob("*.journal")):
            start = self._read.get(path, 0)
            with path.open("rb") as handle:
                handle.seek(start)
                raw = handle.read()
            end = 0
            for payload, at in _records(raw):
                end = at
                for row in payload.split(b"\n")[:-1]:
                    fields = row.split(b",")
                    if len(fields) == 4 and fields[0].isdigit() and len(fields[1]) == 19:
                        self.on_disk.add(int(fields[0]))
            self._read[path] = start + end


def _records(raw: bytes) -> Iterator[tuple[bytes, int]]:
    """Bodies of the intact records in a journal's bytes, each with where it ends. A line's number
    can be told only where its first byte is that of the body or follows a line end."""
    at = raw.find(_MARK)
    while at >= 0 and at + 4 + _HEADER.size <= len(raw):
        crc, length, _, _, _, kind = _HEADER.unpack_from(raw, at + 4)
        end = at + 4 + _HEADER.size + length
        if end > len(raw) or zlib.crc32(raw[at + 8 : end]) != crc:
            return
        start = at + 4 + _HEADER.size
        meta = int.from_bytes(raw[start : start + 2], "little")
        body = raw[start + 2 + meta : end] if kind == 1 else b""
        yield body.partition(b"\n")[2], end
        at = raw.find(_MARK, end)


@contextlib.contextmanager
def _sources() -> Iterator[tuple[_File, _Port]]:
    from django.conf import settings

    from telemetry.database import ensure_database
    from telemetry.paths import journal_folder
    from telemetry.services import feed_register

    ensure_database()
    folder = Path(settings.DATA_DIR).parent / f"{Path(settings.DATA_DIR).name}-tables"
    folder.mkdir()
    settings.SOURCE_DIRS = (folder,)  # forked processes have it too
    file, port = _File(folder / "file.csv"), _Port(journal_folder("port", "live"))
    try:
        sources = {
            "file": f'kind = "csv_file"\npath = "{file.path}"',
            "port": f'kind = "serial"\nport = "{port.path}"',
        }
        for name, source in sources.items():
            feed_register(name=name, text=_FEED.format(name=name, source=source), by="bench")
        yield file, port
    finally:
        file.path.unlink()
        folder.rmdir()


def _round(chance: random.Random, file: _File, port: _Port) -> bool:
    """One life of intake; True where it was killed while it started."""
    process = _forked()
    early = chance.random() < _EARLY
    try:
        if early:
            file.write(chance)
            time.sleep(chance.uniform(0, 0.4))
        else:
            _wait_open(process, port)
            stop = time.monotonic() + chance.uniform(0, 0.5)
            while time.monotonic() < stop:
                file.write(chance)
                port.write(chance)
    finally:
        os.kill(process, signal.SIGKILL)
        _, status = os.waitpid(process, 0)
    if not os.WIFSIGNALED(status):
        raise RuntimeError(f"intake ended by itself with status {status}")
    return early


def _forked(*words: str) -> int:
    """`manage.py intake` in a process of its own; its id."""
    from django.core.management import call_command

    process = os.fork()
    if process:
        return process
    try:
        os.setsid()
        call_command("intake", *words)
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    os._exit(0)


def _wait_for(process: int) -> None:
    _, status = os.waitpid(process, 0)
    if status:
        raise RuntimeError(f"intake ended with status {status}")


def _wait_open(process: int, port: _Port) -> None:
    """Until intake has opened the port."""
    end = time.monotonic() + _STARTS_S
    own = len(_open_at(os.getpid(), port.path))
    while len(_open_at(process, port.path)) <= own:
        if time.monotonic() > end:
            raise RuntimeError("intake does not open the port")
        time.sleep(0.005)


def _open_at(process: int, path: str) -> list[str]:
    """Descriptors of a process that lead to a device; its parent's are handed down to it."""
    folder, found = f"/proc/{process}/fd", []
    for name in os.listdir(folder):
        with contextlib.suppress(OSError):
            if os.readlink(f"{folder}/{name}") == path:
                found.append(name)
    return found


def _counted(name: str, sent: set[int], due: set[int]) -> dict[str, int]:
    """What the table holds of a source, asked for in plain SQL."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT seq FROM telemetry_event JOIN telemetry_feed ON telemetry_feed.id = feed_id "
            "WHERE name = %s",
            [name],
        )
        times = Counter(row[0] for row in cursor.fetchall())
    return {
        "sent": len(sent),
        "on_disk": len(due),
        "stored": len(times),
        "missing": len(due - times.keys()),
        "doubled": sum(n - 1 for n in times.values()),
        "strange": len(times.keys() - sent),
    }


def _arcs(file: _File) -> dict[str, int]:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM telemetry_arc WHERE \"table\" = 'file' AND ended = 'off' "
            "AND off_us - on_us = 4000000 AND pierces = 1"
        )
        arcs = cursor.fetchone()[0]
    return {"arcs": arcs, "burns": len(file.sent) // 5}
