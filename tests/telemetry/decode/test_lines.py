"""Lines come out the same however the bytes are split, and memory stays bounded."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from telemetry.decode.lines import KEEP_BYTES, MAX_LINE_BYTES, LineSplitter, RawLine

HARD = b"\xef\xbb\xbfone\r\n\r\n\ntwo\rtwo\n" + b"x" * 20 + b"\n\x00\x00\nlast"


def split(*blocks: bytes, at: int = 0) -> list[RawLine]:
    splitter = LineSplitter()
    lines = []
    for block in blocks:
        lines += splitter.feed(block, at)
        at += len(block)
    return lines


def test_position_is_that_of_the_first_byte() -> None:
    assert split(b"ab\r\ncd\n", b"ef\ngh", at=100) == [
        RawLine(100, b"ab", ""),
        RawLine(104, b"cd", ""),
        RawLine(107, b"ef", ""),
    ]


def test_every_split_in_two_and_in_three_gives_the_same_lines() -> None:
    whole = split(HARD)
    assert whole[0].raw == b"one"
    for i in range(len(HARD) + 1):
        for j in range(i, len(HARD) + 1):
            assert split(HARD[:i], HARD[i:j], HARD[j:]) == whole


@given(st.lists(st.sampled_from([b"a", b"\n", b"\r", b"\xff\xfe", b"\xef\xbb\xbf", b"\x00",
    b"z" * (MAX_LINE_BYTES - 1), b"z" * MAX_LINE_BYTES]), max_size=12))  # fmt: skip
def test_any_blocks_give_what_one_block_gives(blocks: list[bytes]) -> None:
    assert split(*blocks) == split(b"".join(blocks))


def test_overlong_line_is_one_fault_and_reading_goes_on() -> None:
    lines = split(*[b"y" * 1000] * 1000, b"\nnext\n")
    assert lines == [
        RawLine(0, b"y" * KEEP_BYTES, "too long"),
        RawLine(1_000_001, b"next", ""),
    ]


def test_memory_is_bounded_while_an_overlong_line_lasts() -> None:
    splitter = LineSplitter()
    for number in range(2000):
        splitter.feed(b"y" * 997, number * 997)
        assert len(splitter.tail) <= MAX_LINE_BYTES + 1
    assert splitter.take_fragment() == RawLine(0, b"y" * KEEP_BYTES, "too long")


def test_line_of_exactly_the_limit_passes_with_either_line_end() -> None:
    full = b"y" * MAX_LINE_BYTES
    assert split(full, b"\r", b"\n", full + b"\n", full + b"y\n") == [
        RawLine(0, full, ""),
        RawLine(MAX_LINE_BYTES + 2, full, ""),
        RawLine(2 * MAX_LINE_BYTES + 3, full[:KEEP_BYTES], "too long"),
    ]


def test_utf_16_is_refused_by_name() -> None:
    lines = split("1,ON\r\n2,OFF\r\n".encode("utf-16"))
    assert {line.fault for line in lines if line.raw} == {"utf-16"}


def test_state_carries_a_half_line_over() -> None:
    for cut in range(len(HARD)):
        splitter = LineSplitter()
        lines = splitter.feed(HARD[:cut], 0)
        again = LineSplitter.from_state(json.loads(json.dumps(splitter.state())))
        assert lines + again.feed(HARD[cut:], cut) == split(HARD)
        assert again.tail == b"last"
