"""The end of a journal kept in memory for who follows it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from telemetry.journal import Kind, Position, Recent, Writer, read
from telemetry.journal.writer import JournalError

META = {"source": "live", "at": 7, "file": {"inode": "9", "byte_offset": 3}}


def append(writer, number, body=b"x"):
    writer.append(
        Kind.DATA, meta={**META, "n": number}, body=body, utc_us=1000 + number, mono_us=number
    )


def test_what_is_at_hand_is_what_the_journal_holds_with_the_same_positions(tmp_path):
    writer = Writer(tmp_path, segment_bytes=300)  # a few records each, so that segments turn over
    writer.recent = Recent(1 << 20)
    for turn in range(8):
        append(writer, turn)
        append(writer, turn, b"\x00\xff" * turn)
        writer.sync()
    from_disk = list(read(tmp_path, Position(), writer.durable))
    from_memory = [writer.recent.take(number) for number in range(1, 17)]
    assert from_memory == from_disk
    assert len({position.segment for _, position in from_disk}) > 2
    assert writer.recent.take(17) is None


def test_nothing_is_at_hand_before_it_is_durable(tmp_path, monkeypatch):
    writer = Writer(tmp_path)
    writer.recent = Recent(1 << 20)
    append(writer, 1)
    with monkeypatch.context() as patch:
        patch.setattr("os.fdatasync", lambda descriptor: (_ for _ in ()).throw(OSError(5, "bad")))
        try:
            writer.sync()
        except JournalError:
            assert writer.recent.take(1) is None
        else:
            raise AssertionError("the failed fdatasync was passed over")
    writer.sync()
    record, position = writer.recent.take(1)
    assert record == next(iter(read(tmp_path)))[0]
    # It stands in two segments now. Reading on behind either gives what comes next, once.
    append(writer, 2)
    writer.sync()
    assert [item.meta["n"] for item, _ in read(tmp_path, position)] == [2]
    assert [item.meta["n"] for item, _ in read(tmp_path)] == [1, 2]


def test_a_record_written_while_another_is_made_durable_waits_for_the_next_time(tmp_path):
    writer = Writer(tmp_path)
    writer.recent = Recent(1 << 20)
    append(writer, 1)
    writer.write()
    append(writer, 2)
    writer.harden()
    assert writer.durable.sequence == 2
    assert writer.recent.take(2) is None
    writer.sync()
    assert [item.meta["n"] for item, _ in read(tmp_path)] == [1, 2]
    assert writer.recent.take(2) is not None


@given(
    st.integers(500, 4000),
    st.lists(st.tuples(st.booleans(), st.integers(0, 900)), max_size=40),
)
def test_memory_stays_within_its_bound_and_no_record_comes_twice_or_out_of_turn(most, turns):
    from telemetry.journal.record import Record

    recent, wanted, number, held = Recent(most), 1, 0, {}
    for adds, size in turns:
        if adds:
            number += 1
            record = Record(Kind.DATA, number, 0, 0, {}, b"x" * size)
            if sum(500 + held_size for held_size in held.values()) + size + 500 <= most:
                held[number] = size
            recent.add(record, Position(1, number, number + 1))
            continue
        found = recent.take(wanted)
        assert (found is not None) == (wanted in held)
        held = {n: s for n, s in held.items() if n > wanted}
        if wanted <= number:  # else read from the journal by whoever follows
            wanted += 1


def test_of_what_is_at_hand_only_plain_bytes_are_taken_by_the_short_way(tmp_path):
    writer = Writer(tmp_path)
    writer.recent = Recent(1 << 20)
    append(writer, 1, b"bytes")
    writer.append(Kind.FLUSH, meta={}, utc_us=1, mono_us=1)
    append(writer, 3, b"more")
    writer.sync()
    assert writer.recent.take_plain(1)[0].body == b"bytes"
    assert writer.recent.take_plain(2) is None
    assert writer.recent.take(2)[0].kind is Kind.FLUSH
    assert writer.recent.take_plain(3)[0].body == b"more"
    assert writer.recent.take_plain(4) is None
