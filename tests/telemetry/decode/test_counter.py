"""What a pierce counter and amps beside a level say, and when they say nothing."""

from __future__ import annotations

import pytest

from telemetry.decode.counter import MOST, Counter
from telemetry.description import parse_description
from telemetry.sample import decode_sample
from tests.telemetry.poll_lines import polled_text


@pytest.mark.parametrize(
    ("readings", "steps"),
    [
        ([57, 57, 58, 61], [0, 0, 1, 3]),
        ([98, 99, 0, 2], [0, 1, 1, 2]),  # past its end
        ([57, 0, 2], [0, 0, 2]),  # power-up
        ([57, 3], [0, 3]),
        ([2, 0, 1], [0, 0, 1]),  # power-up of one that had hardly begun
        ([20, 19, 20, 21], [0, None, 0, 1]),  # a slip
        ([3, 1, 3], [0, None, 0]),
        ([60, 35, 61], [0, None, 1]),
        ([99, 0, 99, 0], [0, 1, None, 0]),  # a slip back over its end
        ([MOST + 60, 50, 51], [0, 50, 1]),  # set by hand: no 50 pierces came since
        ([2, 3 + MOST], [0, 1 + MOST]),
    ],
)
def test_what_a_counter_went_up(readings: list[int], steps: list[int | None]) -> None:
    counter = Counter(99)
    assert [counter.step(reading) for reading in readings] == steps


def test_without_its_last_number_a_counter_that_goes_back_began_at_nothing() -> None:
    counter = Counter(0)
    assert [counter.step(n) for n in (65535, 2)] == [0, 2]


def test_a_counter_of_few_numbers_slips_back_and_does_not_run_around() -> None:
    counter = Counter(30)
    assert [counter.step(n) for n in (20, 19, 20, 29, 1)] == [0, None, 0, 9, 3]


def lines_of(*polls: str) -> bytes:
    """A line a second, each level, counter and amps as far as it has them."""
    lines = [f"2026-11-30T14:00:{second:02},{poll}\n" for second, poll in enumerate(polls)]
    return "".join(lines).encode()


def of_one_torch(more: str = "") -> str:
    return polled_text(more=more).replace('"torch", ', "").replace("counts_to = 99", "")


UNCERTAIN = [
    ("0,5 1 0 1 0,7", [None, None]),  # two pierces of two arcs
    ("0,5 1 0 1 0,5", [None, 0]),
    ("0,5 1 0 0,6 1 0,7", [None, 1]),
    ("1,5 0,5 1,6 0,6", [None, 1]),  # found burning
    ("1 0,5 1,6 0,6", [None, 1]),
    ("1,5 1,6 0,7", [None]),
    ("0 1 0", [None]),
    ("0,5 1 0,6 1,7 0", [1, 1]),
    ("0,5 1,5 1 0", [0]),
    ("0,5 1,6 0 1,7 0", [1, 1]),  # silent only while it does not burn
    ("0,50 1 1,90 1,91 0,91", [None]),  # too many to be pierces
    ("0,50 1,90 0,90", [1]),
    ("0,20 1,19 0,19 1,20 0,20 1,21 0,21", [None, 0, 1]),
    ("0,50 1,51 0,51 1,19 0,20", [1, 20]),
]


@pytest.mark.parametrize(("polls", "pierces"), UNCERTAIN)
def test_an_arc_without_a_reading_before_and_in_it_has_unknown_pierces(polls, pierces) -> None:
    raw = lines_of(*polls.split())
    pairing = decode_sample(parse_description(of_one_torch()), [raw]).pairing
    assert [arc.pierces for arc in pairing.arcs] == pierces


def test_unknown_pierces_with_a_debounce_are_those_of_arcs_that_stood() -> None:
    text = of_one_torch("debounce_s = 2")
    polls = "0,5 1 0 0 0 1 1 1 0 1 1 0 0 0,6 0 0 1,6 1 1,7 0 0,8 0"
    pairing = decode_sample(parse_description(text), [lines_of(*polls.split())]).pairing
    assert [(arc.on_us // 1_000_000 % 60, arc.pierces) for arc in pairing.arcs] == [
        (5, None), (16, 1)
    ]  # fmt: skip
    assert len(pairing.stray_pierces) == 2  # a mark of no arc is none


@pytest.mark.parametrize(
    ("beside", "pierces", "amps"),
    [
        ("-", None, None), ("-,---", None, None), ("5.5,80", None, 80.0), ("-5", None, None),
        ("9999999999999999999", None, None), ("5,eighty", 4, None), ("5,1e999", 4, None),
        ("100,80", None, 80.0), ("5,", 4, None), (",80", None, 80.0),
    ],
)  # fmt: skip
def test_what_cannot_be_read_beside_a_level_costs_no_edge(beside, pierces, amps) -> None:
    text = of_one_torch().replace("[time]", "counts_to = 99\n[time]")
    raw = lines_of("0,1", f"1,{beside}", "0,-,---", "0,5")
    sample = decode_sample(parse_description(text), [raw])
    [arc] = sample.pairing.arcs
    assert (sample.rejects, arc.ended, arc.pierces, arc.amps) == ([], "off", pierces, amps)
