"""Many ports on one thread."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import threading
import time
import tty

import pytest

from telemetry.errors import SourceError
from telemetry.feeds.base import Chunk
from telemetry.feeds.ports import Ports
from telemetry.journal import Kind


class Line:
    """A pseudo-serial line, read at our end."""

    def __init__(self) -> None:
        self.table, self.descriptor = pty.openpty()
        tty.setraw(self.table)
        tty.setraw(self.descriptor)
        os.set_blocking(self.descriptor, False)
        self.heard, self.error = b"", None

    def read_now(self) -> list[Chunk]:
        try:
            body = os.read(self.descriptor, 65536)
        except BlockingIOError:
            return []
        except OSError as error:
            raise SourceError(str(error), retry=True) from error
        if not body:
            raise SourceError("nothing more will come", retry=True)
        return [Chunk(Kind.DATA, {}, body)]

    def put(self, chunks) -> bool:
        self.heard += b"".join(chunk.body for chunk in chunks)
        return False

    def wait(self, ports, stop) -> None:
        try:
            ports.read_until_lost(self, self.put, stop)
        except Exception as error:
            self.error = error


@contextlib.contextmanager
def listening(lines):
    ports, stop = Ports(), threading.Event()
    threads = [threading.Thread(target=line.wait, args=(ports, stop)) for line in lines]
    ports.start()
    for thread in threads:
        thread.start()
    try:
        yield ports, stop, threads
    finally:
        stop.set()
        ports.close()
        for thread in threads:
            thread.join(timeout=5)
        assert not any(thread.is_alive() for thread in threads)


def until(check):
    end = time.monotonic() + 10
    while not check() and time.monotonic() < end:
        time.sleep(0.01)
    assert check()


@pytest.fixture
def lines():
    made = [Line() for _ in range(40)]
    yield made
    for line in made:
        for end in (line.table, line.descriptor):
            with contextlib.suppress(OSError):
                os.close(end)


def test_every_port_gets_its_own_bytes_whole_and_in_order(lines):
    with listening(lines):
        for turn in range(20):
            for n, line in enumerate(lines):
                os.write(line.table, f"{n}:{turn}\n".encode())
        wanted = ["".join(f"{n}:{turn}\n" for turn in range(20)).encode() for n in range(40)]
        until(lambda: [line.heard for line in lines] == wanted)


def test_a_port_that_is_pulled_raises_where_it_was_opened_and_the_others_read_on(lines):
    with listening(lines) as (_, _, threads):
        os.write(lines[3].table, b"last words\n")
        until(lambda: lines[3].heard)
        os.close(lines[3].table)
        threads[3].join(timeout=5)
        assert isinstance(lines[3].error, SourceError)
        os.write(lines[4].table, b"still here\n")
        until(lambda: lines[4].heard == b"still here\n")
    assert lines[3].heard == b"last words\n"
    assert [line.error for line in lines if line is not lines[3]] == [None] * 39


def test_a_fault_of_our_own_in_one_port_ends_that_one_alone(lines):
    def wrong() -> list[Chunk]:
        raise ZeroDivisionError("ours")

    lines[0].read_now = wrong
    with listening(lines) as (_, _, threads):
        os.write(lines[0].table, b"x\n")
        threads[0].join(timeout=5)
        assert isinstance(lines[0].error, ZeroDivisionError)
        os.write(lines[1].table, b"y\n")
        until(lambda: lines[1].heard == b"y\n")


def test_read_all_reads_at_once_what_has_come(lines):
    ports, stop = Ports(), threading.Event()  # not started: nobody else reads
    thread = threading.Thread(target=lines[0].wait, args=(ports, stop))
    thread.start()
    until(lambda: ports._held)
    os.write(lines[0].table, b"now\n")
    select.select([lines[0].descriptor], [], [], 10)  # the kernel carries it over when it likes
    ports.read_all()
    assert lines[0].heard == b"now\n"
    stop.set()
    ports.wake()
    thread.join(timeout=5)
    assert not thread.is_alive()


def test_a_source_that_never_pauses_is_not_made_to_wait_for_the_pause(lines, monkeypatch):
    monkeypatch.setattr("telemetry.feeds.ports._PAUSE_S", 2.0)
    monkeypatch.setattr("telemetry.feeds.ports._LONG_PAUSE_S", 2.0)
    line, sent = lines[0], b"x" * 400_000  # a hundred times what a driver holds
    line.put = lambda chunks: Line.put(line, chunks) or any(len(c.body) >= 2048 for c in chunks)
    with listening([line]):
        sender = threading.Thread(target=write_all, args=(line.table, sent))
        began = time.monotonic()
        sender.start()
        until(lambda: len(line.heard) == len(sent))
        assert time.monotonic() - began < 8.0  # a pause for each time the driver was empty
        sender.join()
    assert line.heard == sent


def write_all(descriptor, data):
    while data:
        data = data[os.write(descriptor, data) :]
