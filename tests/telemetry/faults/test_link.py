"""Faults of the link to the table: numbers 12 to 15."""

from __future__ import annotations

import os
import time
import tracemalloc
from itertools import pairwise

import pytest

from telemetry.errors import SourceError
from telemetry.feeds import reader as reading
from telemetry.feeds.base import Chunk, Known
from telemetry.feeds.reader import Reader
from telemetry.journal import Kind
from telemetry.models import Reject
from telemetry.selectors import feed_status
from telemetry.services import feed_register
from telemetry.worker.backfill import backfill
from tests.processes import until
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text
from tests.telemetry.worker.test_worker import Port, ended, house, serial_text, wait_listening

__all__ = ["house"]


class DeadPort:
    """Opens every time and gives an error at the first reading."""

    unsettled = False
    patient = False

    def __init__(self) -> None:
        self.opened: list[float] = []

    def open(self, known: Known) -> list[Chunk]:
        self.opened.append(time.monotonic())
        return [Chunk(Kind.OPENED, {})]

    def read(self) -> list[Chunk]:
        raise SourceError("device reports readiness to read but returned no data", retry=True)

    def close(self) -> None:
        pass


def test_12_a_port_that_opens_but_is_dead_is_tried_again_with_growing_pauses(monkeypatch):
    monkeypatch.setattr(reading, "_RETRY_FIRST_S", 0.02)
    reader, port = Reader("t"), DeadPort()
    reader.source, reader.known = port, Known()
    reader.start()
    time.sleep(1.5)
    assert reader.link == "waiting"
    assert "returned no data" in reader.message
    reader.stop.set()
    pauses = [late - early for early, late in pairwise(port.opened)]
    # 0.04, 0.08, 0.16, 0.32, 0.64: doubled each time, so a handful of tries and no busy loop.
    assert 4 <= len(pauses) <= 6
    assert all(late > early * 1.5 for early, late in pairwise(pauses))


@pytest.mark.slow
def test_13_garbage_at_connect_is_kept_aside_and_14_a_line_cut_by_a_pause_is_whole(house, tmp_path):
    port = Port(tmp_path / "port")
    house.register("t", serial_text(str(port.link)))
    with ended(house.intake("t")):
        wait_listening(house, "t")
        time.sleep(0.5)
        os.write(port.master, b"\xff\x80\x00,06:00:00,1,PIER")
        port.send("CE,\n")
        port.send("1,2026-03-10T06:00:00,1,ARC ON,\n2,2026-03-10T06:00:0")
        time.sleep(1.0)  # far longer than any time-out of the port
        port.send("4,1,ARC OFF,\n")
        until(lambda: house.status("t")["arc_seconds"] == 4.0, within_s=15, what="the arc")
    status = house.status("t")
    assert [status[k] for k in ("lines", "events", "rejected")] == [3, 2, 1]


@pytest.mark.django_db
@pytest.mark.parametrize("filler", [b"x", b"\x00", b"\x00\r"])
def test_15_an_endless_line_costs_bounded_memory_and_is_one_reject(tmp_path, filler):
    path = tmp_path / "t.csv"
    long = filler * (20_000_000 // len(filler))
    path.write_bytes(rows(1, 3).encode() + long + b"\n" + rows(4, 6).encode())
    text = feed_text("x").replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
    feed = feed_register(name="t", text=text, by="test")
    del long
    tracemalloc.start()
    backfill(feed, path, lambda done, of: None)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    status = feed_status(feed)
    assert [status[k] for k in ("lines", "events", "rejected")] == [7, 6, 1]
    reject = Reject.objects.get()
    assert (reject.reason, len(bytes(reject.raw))) == ("too long", 1024)
    # A file is journalled 4 MB at a time; nothing grows with the line beyond that.
    assert most < 16_000_000
