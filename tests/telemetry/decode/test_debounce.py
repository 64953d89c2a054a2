"""Edges of a polled contact, with and without a debounce time."""

from __future__ import annotations

from telemetry.decode.debounce import Edges
from telemetry.events import ARC_OFF, ARC_ON, Event


def poll(time_us: int, is_on: int) -> Event:
    kind = ARC_ON if is_on else ARC_OFF
    return Event(f"{time_us:032x}", time_us, kind, "1", None, 0, "", None, None, 0, 0, 0, None, "")


def edges_of(debounce_us: int, polls: list[tuple[int, int]]) -> list[tuple[int, int]]:
    edges = Edges(debounce_us)
    found = [event for item in polls for event in edges.feed(poll(*item))] + edges.settle()
    return [(e.time_us, int(e.kind == ARC_ON)) for e in found]


def test_repeats_are_no_events() -> None:
    assert edges_of(0, [(0, 0), (1, 1), (2, 1), (3, 0), (4, 0)]) == [(1, 1), (3, 0)]


def test_contact_found_closed_starts_an_arc_there() -> None:
    assert edges_of(0, [(5, 1), (6, 1)]) == [(5, 1)]


def test_level_shorter_than_the_debounce_time_is_a_bounce() -> None:
    polls = [(0, 1), (10, 0), (12, 1), (30, 1), (50, 0), (55, 0), (61, 0)]
    assert edges_of(10, polls) == [(0, 1), (50, 0)]


def test_level_that_stood_until_the_next_line_counts_without_polls_between() -> None:
    assert edges_of(10, [(0, 1), (60, 0), (100, 1), (105, 0), (200, 0)]) == [(0, 1), (60, 0)]


def test_edge_at_the_end_of_the_input_counts() -> None:
    assert edges_of(10, [(0, 1), (60, 0)]) == [(0, 1), (60, 0)]
