"""A whole journal read and judged: what is missing, in which file, from which byte on."""

from __future__ import annotations

import pytest

from telemetry.journal import Kind, Writer, judge, read
from telemetry.journal.segments import pack, segment_numbers, segment_path

SIZE = 40  # bytes of each body; a record is 37 + 2 + meta + 40 bytes


@pytest.fixture
def folder(tmp_path):
    """Thirty records over several segments, one second apart from 1 s on."""
    writer = Writer(tmp_path, segment_bytes=500)
    for n in range(1, 31):
        writer.append(Kind.DATA, meta={}, body=b"%040d" % n, utc_us=n * 1_000_000, mono_us=n)
        writer.sync()
    writer.close()
    assert len(segment_numbers(tmp_path)) > 4
    return tmp_path


def sequences(folder, number):
    return [item.sequence for item, at in read(folder) if at.segment == number]


def test_a_whole_journal_has_no_spans(folder):
    found = judge(folder, 31)
    assert found.whole
    assert (found.first, found.end.sequence, found.records[Kind.DATA]) == (1, 31, 30)
    assert found.data_bytes == 30 * SIZE


def test_a_flipped_bit_names_the_file_and_the_byte_its_record_begins_at(folder):
    path = segment_path(folder, 2)
    lost = sequences(folder, 2)[1]
    raw = bytearray(path.read_bytes())
    at = raw.index(b"%040d" % lost)
    begins = raw.rindex(b"\xf7JR\x0b", 0, at)
    raw[at] ^= 4
    path.write_bytes(raw)
    [span] = judge(folder, 31).spans
    assert (span.file, span.offset) == (path, begins)
    assert (span.first_missing, span.next_sequence) == (lost, lost + 1)
    assert (span.after_us, span.before_us) == ((lost - 1) * 1_000_000, (lost + 1) * 1_000_000)
    assert str(span) == f"{path}:{begins}: records {lost} to {lost} cannot be read"


@pytest.mark.parametrize("number", [1, 3])
def test_a_missing_segment_is_named_itself(folder, number):
    lost = sequences(folder, number)
    segment_path(folder, number).unlink()
    [span] = judge(folder, 31).spans
    assert span.file == segment_path(folder, number)
    assert (span.first_missing, span.next_sequence) == (lost[0], lost[-1] + 1)
    assert span.after_us == (None if number == 1 else (lost[0] - 1) * 1_000_000)
    assert span.before_us == (lost[-1] + 1) * 1_000_000
    assert "this file is missing" in str(span)


def test_a_segment_cut_in_the_middle_is_named_where_it_was_cut(folder):
    path, lost = segment_path(folder, 2), sequences(folder, 2)
    raw = path.read_bytes()
    whole = raw.index(b"%040d" % lost[1]) + SIZE
    path.write_bytes(raw[: whole + 9])
    [span] = judge(folder, 31).spans
    assert (span.file, span.offset) == (path, whole)
    assert (span.first_missing, span.next_sequence) == (lost[2], lost[-1] + 1)


def test_an_end_that_was_read_before_and_is_gone_is_missing(folder):
    last = segment_numbers(folder)[-1]
    lost = sequences(folder, last)
    segment_path(folder, last).unlink()
    assert judge(folder).whole
    [span] = judge(folder, 31).spans
    assert (span.first_missing, span.next_sequence) == (lost[0], 31)
    assert span.before_us is None


def test_a_segment_the_system_cannot_read_is_named_with_its_reason(folder):
    path, lost = segment_path(folder, 3), sequences(folder, 3)
    path.unlink()
    path.mkdir()
    [span] = judge(folder, 31).spans
    assert span.file == path
    assert (span.first_missing, span.next_sequence) == (lost[0], lost[-1] + 1)
    assert "Is a directory" in str(span)


def test_a_damaged_compressed_segment_gives_what_stands_before_the_damage(folder):
    lost = sequences(folder, 2)
    pack(folder, 2)
    packed = folder / (segment_path(folder, 2).name + ".gz")
    packed.write_bytes(packed.read_bytes()[:60])
    [span] = judge(folder, 31).spans
    assert span.file == packed
    assert lost[0] <= span.first_missing <= lost[-1]
    assert span.next_sequence == lost[-1] + 1


def test_no_journal_at_all_is_whole_unless_something_was_read_of_it(tmp_path):
    assert judge(tmp_path / "none").whole
    [span] = judge(tmp_path / "none", 7).spans
    assert (span.first_missing, span.next_sequence) == (1, 7)
