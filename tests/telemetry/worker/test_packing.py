"""Closed segments compressed: the same bytes, whenever the power goes."""

from __future__ import annotations

import gzip
import os
import random
import signal
import subprocess
import sys
import time

import pytest

from telemetry.backlog import backlog_bytes
from telemetry.journal import Damage, Position, Writer, read, segments
from telemetry.journal.segments import pack, packable, packed_path, segment_numbers, segment_path
from telemetry.models import Cursor
from telemetry.paths import journal_folder
from telemetry.worker.packing import pack_some
from telemetry.worker.rebuild import rebuild
from tests.processes import ROOT
from tests.telemetry.stored import Table, everything
from tests.telemetry.table_lines import simulate
from tests.telemetry.test_journal import bodies, fill


@pytest.fixture
def folder(tmp_path):
    fill(tmp_path, [b"%03d," % n * 25 for n in range(50)], segment_bytes=1000).close()
    return tmp_path


def test_a_packed_segment_reads_as_before_from_any_position(folder):
    before = list(read(folder))
    whole = {n: segment_path(folder, n).read_bytes() for n in segment_numbers(folder)}
    assert packable(folder, 3) == [1, 2]
    for number in packable(folder, 999):
        pack(folder, number)
        assert not segment_path(folder, number).exists()
        assert gzip.decompress(packed_path(folder, number).read_bytes()) == whole[number]
        assert segments.size_of(folder, number) == len(whole[number])
    assert packable(folder, 999) == []
    assert segment_numbers(folder) == sorted(whole)
    assert list(read(folder)) == before
    for at, (_, position) in enumerate(before):
        assert list(read(folder, position)) == before[at + 1 :]
    writer = Writer(folder, segment_bytes=1000)
    assert writer.damages == []
    assert writer.durable.sequence == 51


@pytest.mark.parametrize("step", ["fsync", "replace", "sync_folder", "unlink"])
def test_a_crash_at_any_step_leaves_the_bytes_and_the_next_try_ends_it(folder, monkeypatch, step):
    class Crash(BaseException):
        pass

    def crash(*args, **more):
        raise Crash

    before = bodies(folder)
    where = {"fsync": os, "sync_folder": segments}.get(step, type(folder))
    with monkeypatch.context() as patched:
        patched.setattr(where, step, crash)
        with pytest.raises(Crash):
            pack(folder, 1)
    assert bodies(folder) == before
    pack(folder, 1)
    assert bodies(folder) == before
    assert sorted(p.name for p in folder.glob("0000000001*")) == ["0000000001.journal.gz"]


_PACK = """
import sys
from pathlib import Path
from telemetry.journal.segments import pack, packable
folder = Path(sys.argv[1])
print("on", flush=True)
for number in packable(folder, 999):
    pack(folder, number)
print("done", flush=True)
"""


def test_killed_in_the_middle_no_record_is_lost(tmp_path):
    chance = random.Random(5)
    many = [chance.randbytes(20_000) + b"," * 20_000 for _ in range(200)]
    fill(tmp_path, many, segment_bytes=100_000).close()
    cut_short = 0
    for _ in range(60):
        process = subprocess.Popen(
            [sys.executable, "-c", _PACK, str(tmp_path)], cwd=ROOT, stdout=subprocess.PIPE
        )
        assert process.stdout.readline() == b"on\n"
        # longer each time: on a busy machine the packing would never get to its end
        time.sleep(chance.random() * 0.05 * (1 + cut_short / 10))
        process.send_signal(signal.SIGKILL)
        rest = process.communicate()[0]
        assert bodies(tmp_path) == many
        if rest:
            break
        cut_short += 1
    assert rest == b"done\n"
    assert cut_short > 0
    assert packable(tmp_path, 999) == []


def test_damage_in_a_packed_segment_costs_what_lies_behind_it_and_is_an_alarm(folder):
    before = bodies(folder)
    pack(folder, 1)
    path = packed_path(folder, 1)
    raw = bytearray(path.read_bytes())
    raw[len(raw) // 2] ^= 0x10
    path.write_bytes(raw)
    items = [item for item, _ in read(folder)]
    assert [item for item in items if isinstance(item, Damage)]
    found = bodies(folder)
    assert set(found) < set(before)
    second = next(read(folder, Position(2, 0, 0)))[0]
    assert found[-(51 - second.sequence) :] == before[second.sequence - 1 :]


@pytest.mark.django_db
def test_the_worker_packs_what_is_stored_and_a_rebuild_reads_it(tmp_path, monkeypatch):
    monkeypatch.setitem(Writer.__init__.__kwdefaults__, "segment_bytes", 2_000)
    lines = simulate(7, 400)
    table = Table(tmp_path, numbered=True)
    for first in range(0, 200, 20):
        table.hear(lines[first : first + 20])
    table.read_in(lines[200:])
    folder = journal_folder(table.feed.name, "live")
    stored = Cursor.objects.get(feed=table.feed, lane="live").segment
    before, wanted = everything(), packable(folder, stored)
    assert len(wanted) > 2
    for number in wanted:  # one a turn
        pack_some([table.feed]).result()
        assert packed_path(folder, number).exists()
        assert not segment_path(folder, number).exists()
    pack_some([table.feed]).result()
    assert segment_path(folder, stored).exists()
    rebuild(table.feed)
    assert everything() == before
    assert backlog_bytes([table.feed]) == {table.feed.pk: 0}
    table.hear(lines[195:200])  # and goes on
    Cursor.objects.filter(feed=table.feed, lane="live").update(segment=0, byte_offset=0)
    assert backlog_bytes([table.feed])[table.feed.pk] > 2_000  # as after an older backup
