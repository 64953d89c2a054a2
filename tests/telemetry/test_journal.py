from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from telemetry.journal import Damage, JournalError, Kind, Position, Record, Writer, read
from telemetry.journal import writer as writer_module
from telemetry.journal.segments import segment_numbers, segment_path


def fill(folder: Path, bodies: list[bytes], **options) -> Writer:
    writer = Writer(folder, **options)
    for body in bodies:
        writer.append(Kind.DATA, meta={"at": 1}, body=body, utc_us=5, mono_us=6)
        writer.sync()
    return writer


def bodies(folder: Path, start: Position | None = None) -> list[bytes]:
    return [item.body for item, _ in read(folder, start) if isinstance(item, Record)]


BODIES = [b"one\n", b"", b"three,3\n" * 3, bytes(range(256)), b"five\n"]


def test_records_come_back_as_written_and_from_any_position(tmp_path):
    fill(tmp_path, BODIES).close()
    items = list(read(tmp_path))
    assert [item.body for item, _ in items] == BODIES
    assert [item.sequence for item, _ in items] == [1, 2, 3, 4, 5]
    assert items[0][0].utc_us == 5
    assert items[0][0].mono_us == 6
    for n, (_, position) in enumerate(items, start=1):
        assert bodies(tmp_path, position) == BODIES[n:]


def test_a_journal_cut_at_any_byte_gives_the_exact_intact_prefix_and_goes_on(tmp_path):
    whole = tmp_path / "whole"
    fill(whole, BODIES).close()
    raw = segment_path(whole, 1).read_bytes()
    ends = [position.offset for _, position in read(whole)]
    for cut in range(len(raw) + 1):
        folder = tmp_path / f"cut{cut}"
        folder.mkdir()
        segment_path(folder, 1).write_bytes(raw[:cut])
        intact = sum(end <= cut for end in ends)
        assert bodies(folder) == BODIES[:intact]
        writer = Writer(folder)
        assert writer.damages == []
        writer.append(Kind.DATA, meta={}, body=b"after", utc_us=0, mono_us=0)
        writer.close()
        assert bodies(folder) == [*BODIES[:intact], b"after"]


@pytest.mark.parametrize("zeros", [1, 37, 4096])
def test_a_zero_filled_tail_is_a_torn_tail(tmp_path, zeros):
    fill(tmp_path, BODIES).close()
    with segment_path(tmp_path, 1).open("ab") as segment:
        segment.write(bytes(zeros))
    assert bodies(tmp_path) == BODIES
    writer = fill(tmp_path, [b"six"])
    assert writer.damages == []
    assert bodies(tmp_path) == [*BODIES, b"six"]


def test_any_flipped_bit_costs_its_own_record_alone_and_is_an_alarm_where_records_follow(tmp_path):
    whole = tmp_path / "whole"
    fill(whole, BODIES).close()
    raw = segment_path(whole, 1).read_bytes()
    ends = [position.offset for _, position in read(whole)]
    folder = tmp_path / "flipped"
    folder.mkdir()
    for at in range(ends[0], len(raw)):
        flipped = bytearray(raw)
        flipped[at] ^= 1 << (at % 8)
        segment_path(folder, 1).write_bytes(flipped)
        hit = next(n for n, end in enumerate(ends) if at < end)
        items = [item for item, _ in read(folder)]
        kept = [item.body for item in items if isinstance(item, Record)]
        damages = [item for item in items if isinstance(item, Damage)]
        assert kept == BODIES[:hit] + BODIES[hit + 1 :]
        if hit == len(BODIES) - 1:
            assert damages == []  # nothing follows: as torn as any other tail
        else:
            assert [(d.first_missing, d.next_sequence) for d in damages] == [(hit + 1, hit + 2)]


def test_opening_a_damaged_journal_keeps_every_byte_of_it_and_says_so(tmp_path):
    fill(tmp_path, BODIES).close()
    path = segment_path(tmp_path, 1)
    raw = bytearray(path.read_bytes())
    raw[60] ^= 0x10
    path.write_bytes(raw)
    writer = Writer(tmp_path)
    assert len(writer.damages) == 1
    writer.close()
    assert path.read_bytes() == bytes(raw)


def test_segments_turn_over_by_size_and_read_as_one(tmp_path):
    many = [b"x" * 100] * 50
    fill(tmp_path, many, segment_bytes=1000).close()
    assert len(segment_numbers(tmp_path)) > 4
    assert bodies(tmp_path) == many
    assert Writer(tmp_path, segment_bytes=1000).damages == []


def test_a_lost_segment_is_an_alarm(tmp_path):
    fill(tmp_path, [b"x" * 100] * 50, segment_bytes=1000).close()
    segment_path(tmp_path, 2).unlink()
    damages = [item for item, _ in read(tmp_path) if isinstance(item, Damage)]
    assert len(damages) == 1
    assert damages[0].next_sequence - damages[0].first_missing + len(bodies(tmp_path)) == 50


def test_after_a_failed_sync_the_same_records_go_to_a_new_segment_once(tmp_path, monkeypatch):
    writer = fill(tmp_path, [b"a"])
    writer.append(Kind.DATA, meta={}, body=b"b", utc_us=0, mono_us=0)
    real = os.fdatasync

    def fail(descriptor: int) -> None:
        raise OSError(errno.EIO, "input/output error")

    monkeypatch.setattr(writer_module.os, "fdatasync", fail)
    with pytest.raises(JournalError):
        writer.sync()
    monkeypatch.setattr(writer_module.os, "fdatasync", real)
    writer.append(Kind.DATA, meta={}, body=b"c", utc_us=0, mono_us=0)
    writer.sync()
    assert segment_numbers(tmp_path) == [1, 2]
    assert bodies(tmp_path) == [b"a", b"b", b"c"]
    assert not [item for item, _ in read(tmp_path) if isinstance(item, Damage)]


def test_on_a_full_disk_what_waits_is_kept_and_written_once_there_is_room(tmp_path, monkeypatch):
    writer = fill(tmp_path, [b"a"])
    writer.append(Kind.DATA, meta={}, body=b"b" * 500, utc_us=0, mono_us=0)
    real, calls = os.pwrite, []

    def half(descriptor: int, data, offset: int) -> int:
        calls.append(offset)
        if len(calls) % 2 == 0:
            raise OSError(errno.ENOSPC, "no space left on device")
        return real(descriptor, bytes(data[: len(data) // 2]), offset)

    monkeypatch.setattr(writer_module.os, "pwrite", half)
    for _ in range(3):
        with pytest.raises(JournalError):
            writer.sync()
        assert bodies(tmp_path) == [b"a"]
    monkeypatch.setattr(writer_module.os, "pwrite", real)
    writer.sync()
    assert bodies(tmp_path) == [b"a", b"b" * 500]


def test_a_journal_shorter_than_what_was_read_of_it_goes_on_behind_that(tmp_path):
    writer = fill(tmp_path, BODIES)
    floor = writer.durable
    writer.close()
    path = segment_path(tmp_path, 1)
    path.write_bytes(path.read_bytes()[:80])
    writer = Writer(tmp_path, floor=floor)
    assert len(writer.damages) == 1
    writer.append(Kind.DATA, meta={}, body=b"new", utc_us=0, mono_us=0)
    writer.close()
    assert bodies(tmp_path, floor) == [b"new"]
