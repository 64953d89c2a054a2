"""A failed check says so with its limit, and stays on the screen until one is good."""

from __future__ import annotations

import pytest

from shopfloor.models import Units
from shopfloor.terminal.board import board_of
from tests.shopfloor.floor_shop import MINUTE, T0


@pytest.fixture
def run(floor):
    """6 mm plate, range 2 asked. ISO 9013:2017, table 4: u at most 0.15 + 0.007 a = 0.192 mm."""
    line = floor.line(quantity=4, u_range_asked=2)
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4, lines=[line])).pk)


def board(floor, at):
    return board_of(table=floor.table, terminal=floor.terminal, person=floor.person, now=at)


def test_a_failed_check_gives_verdict_and_limit_first(floor, run):
    told = floor.done("check", T0 + MINUTE, u_mm=0.5)
    assert told["passed"] is False
    limit = "at most 0.19 mm is asked (range 2 of ISO 9013)."
    assert told["told"][0] == f"Not good: u 0.50 mm, {limit}"
    assert floor.done("check", T0 + 2 * MINUTE, u_mm=0.1)["told"][0] == f"Good: u 0.10 mm, {limit}"


def test_it_reads_in_inches_where_its_reader_does(floor, run):
    floor.person.units = Units.INCH
    told = floor.done("check", T0 + MINUTE, u_mm=0.5)["told"][0]
    # 0.5 / 25.4 = 0.0197, 0.192 / 25.4 = 0.0076
    assert told.startswith("Not good: u 0.0197 in, at most 0.0076 in is asked")


def test_a_gauge_that_does_not_go_is_not_good(floor, run):
    assert floor.done("check", T0, passed=False)["told"] == ["Not good: the gauge does not go."]


def test_it_stays_until_a_later_check_is_good(floor, run):
    assert board(floor, T0)["failed_check"] == ""
    floor.done("check", T0 + MINUTE, u_mm=0.5)
    said = board(floor, T0 + 20 * MINUTE)["failed_check"]
    assert said.startswith("Not good: u 0.50 mm, at most 0.19 mm")
    floor.done("check", T0 + 21 * MINUTE, dross="light")  # judges nothing
    assert board(floor, T0 + 22 * MINUTE)["failed_check"] == said
    floor.done("check", T0 + 23 * MINUTE, u_mm=0.1)
    assert board(floor, T0 + 24 * MINUTE)["failed_check"] == ""


def test_a_gauge_that_goes_makes_no_edge_good(floor, run):
    """The screen asks for both: either can fail the cut."""
    told = floor.done("check", T0 + MINUTE, u_mm=0.5, passed=True)
    assert told["passed"] is False
    assert told["told"][0].startswith("Not good: u 0.50 mm, at most 0.19 mm")
    told = floor.done("check", T0 + MINUTE, u_mm=0.1, passed=False)
    assert told["passed"] is False
    assert told["told"][0].startswith("Not good: the gauge does not go; u 0.10 mm, at most")
    assert floor.done("check", T0 + MINUTE, u_mm=0.1, passed=True)["passed"] is True
