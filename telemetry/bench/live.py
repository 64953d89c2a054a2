"""Live intake measured over pseudo-serial ports: from the byte sent to the row committed."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from typing import Any
from unittest.mock import patch

import serial

from telemetry.bench.shop import FEED
from telemetry.database import ensure_database
from telemetry.models import Cursor, Event, Feed
from telemetry.services import feed_register
from telemetry.worker import run_until
from telemetry.worker.lane_runner import LaneRunner
from telemetry.worker.pace import COMMIT_S

TRIES = 3  # of the reference

# Sends lines stamped with the moment they are sent, every 10 ms those that are due. It is a process
# of its own so that sending does not hold up reading.
_SENDER = """
import json, os, sys, time
from datetime import datetime, timezone
ports, rate, seconds = json.loads(sys.argv[1])
seqs = [0] * len(ports)
began = time.monotonic()
while (now := time.monotonic() - began) < seconds:
    due = int(now * rate)
    for n, port in enumerate(ports):
        lines = []
        while seqs[n] < due:
            seqs[n] += 1
            at = datetime.now(timezone.utc).replace(tzinfo=None).isoformat(timespec="microseconds")
            word = ("ARC ON,", "PIERCE,", "AMPS,61", "AMPS,62", "ARC OFF,")[seqs[n] % 5]
            lines.append(f"{seqs[n]},{at},{word}\\n")
        if lines:
            os.write(port, "".join(lines).encode())
    time.sleep(0.01)
print(json.dumps(seqs))
"""
_FLOOD = """
import os, sys
port, count = int(sys.argv[1]), int(sys.argv[2])
print("now", flush=True)
for first in range(0, count, 100):
    lines = [f"{n + 1},2026-03-10T{n // 3600000 % 24:02}:{n // 60000 % 60:02}:{n // 1000 % 60:02}."
             f"{n % 1000:03},AMPS,61\\n" for n in range(first, min(first + 100, count))]
    data = "".join(lines).encode()
    while data:
        data = data[os.write(port, data):]
"""


def measure(seconds: int) -> dict[str, Any]:
    """A part that fails is `{"failed": why}`; the others are measured all the same."""
    ensure_database()
    return {
        "commit_window_ms": COMMIT_S * 1000,
        "one feed": _or_why(lambda: _latency(1, 1_000, seconds)),
        "100 feeds": _or_why(lambda: _latency(100, 100, seconds)),
        "capacity": _or_why(lambda: _capacity(20_000 * seconds)),
    }


def _or_why(part: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    try:
        return part()
    except Exception as failed:
        return {"failed": f"{type(failed).__name__}: {failed}"}


@contextmanager
def _ports(count: int, name: str) -> Iterator[list[tuple[int, Feed]]]:
    """Pseudo-serial lines: the table's end of each, and the feed at ours."""
    pairs = []
    ends: list[int] = []
    try:
        for n in range(count):
            table, ours = pty.openpty()
            tty.setraw(table)
            tty.setraw(ours)
            ends += [table, ours]
            text = FEED.format(table=f"{name}{n}", window_s=0.0)
            port = json.dumps(os.ttyname(ours))
            text = text.replace('kind = "push"', f'kind = "serial"\nport = {port}')
            pairs.append((table, feed_register(name=f"{name}{n}", text=text)))
        yield pairs
    finally:
        for end in ends:
            os.close(end)


class _Watch:
    """Notes when each line was committed, and when it says it was sent."""

    def __init__(self) -> None:
        self.lags_us: list[int] = []

    @contextmanager
    def watching(self) -> Iterator[None]:
        stored = LaneRunner.stored

        def watched(storing: LaneRunner) -> None:
            now_us = time.time_ns() // 1000
            gathered = storing.pending
            if gathered is not None:
                self.lags_us += [now_us - row[1] for row in [*gathered.events, *gathered.late]]
            stored(storing)

        with patch.object(LaneRunner, "stored", watched):
            yield


def _latency(count: int, rate: int, seconds: int) -> dict[str, Any]:
    """`count` ports of `rate` lines a second each."""
    watch = _Watch()
    with _ports(count, f"live{count}x") as pairs, watch.watching():
        stop = threading.Event()
        feeds = [feed for _, feed in pairs]
        answer: list[list[int]] = []

        def send() -> None:
            _wait_open(feeds)
            tables = [table for table, _ in pairs]
            done = subprocess.run(
                [sys.executable, "-c", _SENDER, json.dumps([tables, rate, seconds])],
                pass_fds=tables, capture_output=True, check=True,
            )  # fmt: skip
            answer.append(json.loads(done.stdout))
            end = time.monotonic() + 60
            while len(watch.lags_us) < sum(answer[0]) and time.monotonic() < end:
                time.sleep(0.05)

        worked = _while_sending(send, feeds, stop)
    sent = sum(answer[0])
    stored = Event.objects.filter(feed__in=feeds).count()
    if stored != sent or len(watch.lags_us) != sent:
        raise AssertionError(f"{sent} lines sent, {stored} stored, {len(watch.lags_us)} seen")
    lags_us = sorted(watch.lags_us)
    p50_ms, p99_ms = (lags_us[int(sent * part)] / 1000 for part in (0.5, 0.99))
    return {
        "lines": sent,
        "lines_per_s": round(sent / seconds),
        "p50_ms": round(p50_ms, 1),
        "p99_ms": round(p99_ms, 1),
        "p99_windows": round(p99_ms / (COMMIT_S * 1000), 2),
        "core_share": round(worked / seconds, 3),
    }


def _while_sending(send: Callable[[], None], feeds: list[Feed], stop: threading.Event) -> float:
    """Reads the feeds until `send` is done or has failed; the CPU seconds that took."""

    def sending() -> None:
        try:
            send()
        finally:
            stop.set()

    with ThreadPoolExecutor(1) as pool:
        sender = pool.submit(sending)
        worked = time.process_time()
        run_until(feeds, stop, lambda: False)
        worked = time.process_time() - worked
        sender.result()
    return worked


def _wait_open(feeds: list[Feed]) -> None:
    from telemetry.models import Health

    end = time.monotonic() + 60
    while time.monotonic() < end:
        if Health.objects.filter(feed__in=feeds, link="open").count() == len(feeds):
            return
        time.sleep(0.1)
    raise AssertionError("the ports were not opened within a minute")


def _capacity(count: int) -> dict[str, Any]:
    """Lines a second from a port that never pauses: ours to committed rows and arcs, and pyserial's
    `readline` merely reading them."""
    with _ports(1, "flood") as [(table, feed)]:
        stop = threading.Event()
        took: list[float] = []

        def send() -> None:
            _wait_open([feed])
            began = _flood(table, count)
            cursors = Cursor.objects.filter(feed=feed, lane="live")
            while cursors.values_list("events", flat=True).get() < count:
                time.sleep(0.01)
            took.append(time.perf_counter() - began)

        _while_sending(send, [feed], stop)
    stored = Event.objects.filter(feed=feed).count()
    if stored != count:
        raise AssertionError(f"{count} lines sent, {stored} stored")
    ours = count / took[0]
    try:
        theirs = _reference(max(count // 10, 1))
    except (OSError, AssertionError) as failed:
        return {"lines_per_s": round(ours), "failed": f"pyserial's readline: {failed}"}
    return {
        "lines_per_s": round(ours),
        "readline_lines_per_s": round(theirs),
        "ratio": round(ours / theirs, 2),
    }


def _reference(count: int) -> float:
    """What `_readline` measures, tried again where it fails: on a busy machine pyserial at times
    takes a pseudo-terminal that has nothing for it yet for a device that is gone. Raises what the
    last try did: OSError (pyserial's own is one) or AssertionError."""
    for _try in range(TRIES - 1):
        with suppress(OSError, AssertionError):
            return _readline(count)
    return _readline(count)


def _flood(table: int, count: int) -> float:
    """Sends as many lines as fast as they are taken; returns when the first one went."""
    with _sender(table, count) as sender:
        if sender.stdout is None or not sender.stdout.readline():
            raise AssertionError("the sender did not begin")
        began = time.perf_counter()
    if sender.returncode != 0:
        raise AssertionError("the sender failed")
    return began


def _sender(table: int, count: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", _FLOOD, str(table), str(count)]
    return subprocess.Popen(command, pass_fds=[table], stdout=subprocess.PIPE)


def _readline(count: int) -> float:
    """Lines a second that pyserial's `readline` reads. The sender ends with it, read out or not:
    nobody else would take what it sends."""
    table, ours = pty.openpty()
    tty.setraw(table)
    tty.setraw(ours)
    try:
        with serial.Serial(os.ttyname(ours), timeout=5) as port, _sender(table, count) as sender:
            try:
                first = port.readline()
                began = time.perf_counter()
                lines = [first] + [port.readline() for _ in range(count - 1)]
                took = time.perf_counter() - began
            finally:
                sender.kill()
    finally:
        os.close(table)
        os.close(ours)
    if len(lines) != count or not all(line.endswith(b"\n") for line in lines):
        raise AssertionError("readline lost lines")
    return count / took
