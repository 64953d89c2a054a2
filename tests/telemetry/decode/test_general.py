"""The decoder as a whole: splits, checkpoints, order, identity."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.decode.general import Decoder
from telemetry.description import Description, parse_description
from telemetry.events import LATE, Batch, order_of

TOML = """
table = "north"
torch = "1"
[line]
format = "columns"
columns = ["seq", "time", "signal", "value"]
[time]
zone = "America/Chicago"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
sample_a = ["AMPS"]
"""
FEED = parse_description(TOML)
STAMPED = parse_description(TOML.replace('"seq", ', ""))
LEVEL = parse_description(
    'table = "north"\n[line]\nformat = "level"\ncolumns = ["time", "level"]\ndebounce_s = 0.2\n'
)
SMALL = (
    b"1,2026-03-02T10:00:00,ARC ON\r\n2,2026-03-02T10:00:01,PIERCE\n"
    b"4,2026-03-02T10:00:03,AMPS,61\n3,2026-03-02T10:00:02.5,\xff\n"
    b"7,2026-03-02T10:00:09,ARC OFF\n6,2026-03-02T10:00:03,PIERCE\n1,2026-03-02T10:01:00,ARC ON\n"
)
HEADER = b"seq,time,signal,value"
BAD_LINES = [b"", b"\xff", b"x" * 9000, b"5", b"9,2026-03-02T10:00:00,WHAT", b"\x00", HEADER]


def merge(batches: list[Batch]) -> Batch:
    whole = Batch()
    for batch in batches:
        whole.events += batch.events
        whole.late += batch.late
        whole.rejects += batch.rejects
        whole.gaps += batch.gaps
        whole.duplicates += batch.duplicates
        whole.lines += batch.lines
        whole.repeats += batch.repeats
    return whole


def decode(feed: Description, blocks: list[bytes], *, restart: bool = False) -> Batch:
    decoder = Decoder(feed)
    batches = []
    at = 0
    for block in blocks:
        batches.append(decoder.feed_block(block, position=at, arrival_us=7, source="s"))
        at += len(block)
        if restart:
            decoder = Decoder.from_state(feed, json.loads(json.dumps(decoder.state())))
    batches.append(decoder.flush())
    return merge(batches)


def keys_of(batch: Batch) -> set[str]:
    return {event.key for event in batch.events + batch.late}


def stamp(seconds: float) -> str:
    return (datetime(2026, 3, 2, 10, tzinfo=UTC) + timedelta(seconds=seconds)).isoformat()


@pytest.mark.parametrize("feed", [FEED, STAMPED, LEVEL], ids=["seq", "stamp", "level"])
def test_every_split_of_a_small_file_with_and_without_restart(feed: Description) -> None:
    whole = decode(feed, [SMALL])
    assert whole.lines == 7
    for cut in range(len(SMALL) + 1):
        for restart in (False, True):
            assert decode(feed, [SMALL[:cut], SMALL[cut:]], restart=restart) == whole


@st.composite
def inputs(draw: st.DrawFn) -> tuple[Description, bytes]:
    feed = draw(st.sampled_from([FEED, STAMPED, LEVEL]))
    lines: list[bytes] = []
    now, seq = 0.0, 0
    for _ in range(draw(st.integers(0, 25))):
        now += draw(st.sampled_from([-5.0, -1.0, -0.1, 0.0, 0.1, 0.5, 3.0, 60.0]))
        seq = draw(st.sampled_from([seq + 1, seq + 1, seq + 2, seq, max(0, seq - 1), 1]))
        word = draw(st.sampled_from(["ARC ON", "ARC OFF", "PIERCE", "AMPS,50"]))
        text = {
            id(FEED): f"{seq},{stamp(now)},{word}",
            id(STAMPED): f"{stamp(now)},{word}",
            id(LEVEL): f"{stamp(now)},{int(word == 'ARC ON')}",
        }[id(feed)]
        lines.append(draw(st.sampled_from([text.encode()] * 6 + BAD_LINES)))
    return feed, b"\n".join(lines)


@given(inputs(), st.data())
def test_any_split_and_any_restart_gives_the_same(
    given_input: tuple[Description, bytes], data: st.DataObject
) -> None:
    feed, raw = given_input
    cuts = sorted(data.draw(st.lists(st.integers(0, len(raw)), max_size=6)))
    blocks = [raw[a:b] for a, b in zip([0, *cuts], [*cuts, len(raw)], strict=True)]
    whole = decode(feed, [raw])
    assert decode(feed, blocks, restart=data.draw(st.booleans())) == whole
    told = len(whole.events) + len(whole.late) + len(whole.rejects) + len(whole.duplicates)
    assert told + whole.repeats == whole.lines
    assert feed is LEVEL or whole.events == sorted(whole.events, key=order_of)


@given(st.binary(max_size=400))
def test_no_bytes_at_all_can_upset_it(raw: bytes) -> None:
    for feed in (FEED, STAMPED, LEVEL):
        batch = decode(feed, [raw, b"\n"])
        assert batch.lines == len(batch.events) + len(batch.rejects) + batch.repeats


def test_lines_shuffled_within_the_window_come_out_in_order() -> None:
    source = random.Random(5)
    lines = [f"{n},{stamp(n / 4)},AMPS,{n}\n".encode() for n in range(1, 400)]
    # Each line delayed by up to 1.9 s, under the window of 2 s.
    order = sorted(range(len(lines)), key=lambda n: n / 4 + source.uniform(0, 1.9))
    assert order != sorted(order)
    batch = decode(FEED, [b"".join(lines[n] for n in order)])
    assert [event.seq for event in batch.events] == list(range(1, 400))
    assert (batch.late, batch.gaps, batch.duplicates) == ([], [], [])


def test_every_line_twice_counts_once() -> None:
    lines = [f"{n},{stamp(n / 4)},AMPS,{n}\n".encode() for n in range(1, 100)]
    batch = decode(FEED, [b"".join(line * 2 for line in lines)])
    assert (len(batch.events), len(batch.duplicates), batch.gaps) == (99, 99, [])


def test_counter_that_restarts_in_the_same_second_loses_nothing() -> None:
    lines = [f"{n},{stamp(n)},AMPS,1\n".encode() for n in range(1, 51)]
    lines += [f"{n},{stamp(50)},AMPS,2\n".encode() for n in range(1, 4)]
    lines += [f"{n},{stamp(47 + n)},AMPS,2\n".encode() for n in range(4, 9)]
    batch = decode(FEED, [b"".join(lines)])
    assert len(batch.events) == 58
    assert (batch.duplicates, batch.gaps, batch.late) == ([], [], [])


def test_late_line_of_the_session_before_stays_in_it() -> None:
    lines = ["8,0", "9,1", "1,3", "10,1.5", "2,3.5", "2,3.5", "10,1.5", "3,4"]
    raw = "".join(f"{n},{stamp(float(t))},PIERCE\n" for n, t in (x.split(",") for x in lines))
    batch = decode(FEED, [raw.encode()])
    assert [(e.session, e.seq) for e in batch.events] == [
        (0, 8), (0, 9), (0, 10), (1, 1), (1, 2), (1, 3),
    ]  # fmt: skip
    assert [(d.session, d.seq) for d in batch.duplicates] == [(1, 2), (0, 10)]
    assert batch.gaps == []


def test_clock_stepping_back_an_hour_keeps_every_line_and_starts_no_session() -> None:
    times = [0, 1, 2, -3600, -3599, 60, 61]
    raw = "".join(f"{n},{stamp(t)},PIERCE\n" for n, t in enumerate(times, start=1))
    batch = decode(FEED, [raw.encode()])
    assert [e.seq for e in batch.events] == [1, 2, 3, 6, 7]
    assert [(e.seq, e.flags & LATE) for e in batch.late] == [(4, LATE), (5, LATE)]
    assert (batch.gaps, batch.duplicates) == ([], [])


def test_counter_going_back_and_time_going_on_is_a_new_session_not_duplicates() -> None:
    raw = "".join(f"{n},{stamp(t)},PIERCE\n" for t, n in enumerate([*range(1, 60), *range(20, 30)]))
    batch = decode(FEED, [raw.encode()])
    assert len(batch.events) == 69
    assert batch.events[-1].session == 1
    assert batch.gaps == []


def test_jump_names_the_numbers_between_which_lines_are_missing() -> None:
    raw = "".join(f"{n},{stamp(n)},PIERCE\n" for n in (1, 2, 5, 6, 9))
    gaps = decode(FEED, [raw.encode()]).gaps
    assert [(gap.after_seq, gap.before_seq) for gap in gaps] == [(2, 5), (6, 9)]


def test_keys_are_the_same_wherever_a_file_begins_and_whatever_the_zone() -> None:
    lines = SMALL.splitlines(keepends=True)
    keys = keys_of(decode(FEED, [SMALL]))
    for start in range(len(lines)):
        assert keys_of(decode(FEED, [b"".join(lines[start:])])) <= keys
    berlin = replace(FEED, time=replace(FEED.time, zone="Europe/Berlin"), window_s=9.0)
    assert keys_of(decode(berlin, [SMALL])) == keys


def test_two_identical_events_in_one_second_have_two_keys_and_a_second_reading_adds_none() -> None:
    raw = f"{stamp(0)},PIERCE\n{stamp(0)},PIERCE\n{stamp(9)},PIERCE\n".encode()
    decoder = Decoder(STAMPED)
    first = decoder.feed_block(raw, position=0, arrival_us=1, source="a")
    second = decoder.feed_block(raw, position=0, arrival_us=2, source="b")
    end = decoder.flush()
    keys = [e.key for batch in (first, second, end) for e in batch.events + batch.late]
    assert len(keys) == 6
    assert len(set(keys)) == 3


def test_occurrences_of_old_lines_are_let_go() -> None:
    decoder = Decoder(STAMPED)
    raw = "".join(f"{stamp(n / 4)},AMPS,{n}\n" for n in range(5000)).encode()
    decoder.feed_block(raw, position=0, arrival_us=None, source="a")
    assert len(decoder.state()["occurrences"]) <= 512


def test_new_source_begins_at_line_one_and_rejects_the_old_half_line() -> None:
    decoder = Decoder(FEED)
    decoder.feed_block(b"1,2026-03-0", position=0, arrival_us=None, source="a")
    batch = decoder.feed_block(b"bad\n", position=0, arrival_us=None, source="b")
    assert [(r.source, r.line, r.reason) for r in batch.rejects] == [
        ("a", 1, "half line"),
        ("b", 1, "too few columns"),
    ]


def test_fragment_is_kept_taken_or_rejected_as_asked() -> None:
    raw = f"1,{stamp(0)},PIERCE".encode()
    for mode, counts in {"keep": (0, 0), "take": (1, 0), "reject": (0, 1)}.items():
        decoder = Decoder(FEED)
        decoder.feed_block(raw, position=0, arrival_us=None, source="a")
        batch = decoder.flush(fragment=mode)
        assert (len(batch.events), len(batch.rejects)) == counts
        assert decoder.fragment == (raw if mode == "keep" else b"")


def test_fragment_that_does_not_decode_is_left_waiting_and_still_goes_on() -> None:
    raw = f"1,{stamp(0)},PIERCE\n".encode()
    decoder = Decoder(FEED)
    decoder.feed_block(raw[:12], position=0, arrival_us=None, source="a")
    batch = decoder.flush(fragment="take")
    assert (batch.events, batch.rejects, batch.lines) == ([], [], 0)
    decoder.feed_block(raw[12:], position=12, arrival_us=None, source="a")
    (event,) = decoder.flush().events
    assert (event.line, event.position, event.seq) == (1, 0, 1)


def test_times_from_arrival_need_an_arrival() -> None:
    feed = parse_description('table = "n"\n[line]\nformat = "level"\n')
    with pytest.raises(ValueError, match="arrival"):
        Decoder(feed).feed_block(b"1\n", position=0, arrival_us=None, source="a")


def test_contact_polled_at_10_hz_gives_its_closures_and_nothing_lost() -> None:
    # 1,200 closures of 3 s, 1 s apart: 40 polls each, as bare levels with their arrival.
    feed = parse_description(
        'table = "n"\n[line]\nformat = "level"\ndebounce_s = 0.05\n[knows]\ncontact = "transfer"\n'
    )
    decoder = Decoder(feed)
    batches = []
    for poll in range(48_000):
        level = b"1\n" if poll % 40 < 30 else b"0\n"
        batches.append(
            decoder.feed_block(level, position=poll * 2, arrival_us=poll * 100_000, source="j")
        )
    batches.append(decoder.flush())
    events = merge(batches).events
    assert len(events) == 2400
    assert [e.time_us for e in events[:3]] == [0, 3_000_000, 4_000_000]
    assert len({e.key for e in events}) == 2400


def test_a_refused_line_shows_the_gap_before_it_even_as_the_last_one():
    raw = (
        "1,2026-03-10T06:00:00,ARC ON,\n2,2026-03-10T06:00:01,ARC OFF,\n"
        "5,2026-03-10T06:00:05,NOISE,\n"
    )
    last = decode(FEED, [raw.encode()])
    assert [reject.reason for reject in last.rejects] == ["unknown signal"]
    assert [(gap.after_seq, gap.before_seq) for gap in last.gaps] == [(2, 5)]
    more = decode(FEED, [f"{raw}6,2026-03-10T06:00:06,ARC ON,\n".encode()])
    assert more.gaps == last.gaps
    late = "4,2026-03-10T06:00:04,ARC OFF,\n3,2026-03-10T06:00:03,ARC ON,\n"
    filled = decode(FEED, [f"{raw}{late}".encode()])
    assert filled.gaps == []  # they came within the window, behind the refused one
    assert [event.seq for event in filled.events] == [1, 2, 3, 4]
