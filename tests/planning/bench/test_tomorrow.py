"""The simulated shops that forecasts are replayed on."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from planning.bench.tomorrow.replay import replay
from planning.bench.tomorrow.tables import coverage, missed, promises, summed
from planning.bench.tomorrow.worlds import PLAIN, WORLDS, book_of, simulate
from planning.calc.ahead.book import learned
from planning.calc.ahead.past_list import shift_spans
from planning.calc.ahead.records import Step, Typical

SMALL = replace(PLAIN, days=12, known_days=6)


@pytest.fixture(scope="module")
def shop():
    return simulate(SMALL, 3)


def test_a_table_does_one_thing_at_a_time(shop):
    spells = sorted(
        (one for run in shop.runs for one in run.spells), key=lambda one: (one.start, one.end)
    )
    assert len(spells) > 100
    for before, after in pairwise(spells):
        assert after.start >= before.end - 1e-3
    inside = [shop.clock.staffed(one.end) - shop.clock.staffed(one.start) for one in spells]
    assert min(inside) > 0


def test_its_books_give_back_what_was_true(shop):
    book = book_of(shop)
    at = shift_spans(book)[1][-1] + 1
    cuts, steps, stops, borders = learned(book, at)
    closed = [run for run in book.runs if run.closed is not None]
    length = {
        run: sum(
            shop.clock.staffed(one.end) - shop.clock.staffed(one.start)
            for one in shop.runs[run].spells
            if one.step is None and not one.stop
        )
        for run in (one.run for one in closed)
    }
    assert sum(cut.took_s for cut in cuts) == pytest.approx(sum(length.values()), rel=1e-3)
    assert len(cuts) == len(closed)
    true_stops = [one for run in shop.runs for one in run.spells if one.stop]
    assert len(stops) == len(true_stops)
    loads = [one.seconds for one in steps if one.step is Step.LOAD]
    assert sum(loads) / len(loads) == pytest.approx(SMALL.load_s * 1.08, rel=0.25)
    assert len(borders) <= SMALL.days


def test_worlds_differ_in_what_they_are_named_for():
    def stops_a_run(name):
        found = simulate(replace(next(one for one in WORLDS if one.name == name), days=12), 5)
        return sum(one.stop for run in found.runs for one in run.spells) / len(found.runs)

    short = simulate(replace(next(one for one in WORLDS if one.name == "short runs"), days=12), 5)
    assert len(short.runs) > 2 * len(simulate(SMALL, 5).runs)
    assert stops_a_run("breakdowns, heavy tails") > 0
    long = simulate(replace(WORLDS[-1], days=12), 5)
    assert len({run.nest for run in long.runs}) == len(long.runs)


def test_a_replay_judges_every_run_of_the_list_once(shop):
    found = replay([book_of(shop)], [7, 8], Typical(), 1, (1.0,))
    assert [one.runs_ahead for one in found.ranges if one.shift == 7] == list(range(1, 14))[
        : len([one for one in found.ranges if one.shift == 7])
    ]
    assert all(0 < one.pit < 1 for one in found.ranges)
    assert len(found.ends) <= 2
    answer = summed([found])
    assert answer["all"]["n"] == len(found.ranges) == answer["promises"]["n"]
    assert (
        sum(one["n"] for name, one in answer["strata"].items() if name.startswith("hour"))
        == (answer["all"]["n"])
    )


def test_what_misses_a_goal_is_named():
    answer = {
        "all": {"n": 200, "held_80": 0.7},
        "strata": {"hour 1": {"n": 150, "held_80": 0.9}, "hour 6": {"n": 50, "held_80": 0.1}},
        "promises": {"n": 200, "skill": 0.1},
    }
    assert missed("plain", answer) == [
        "plain: 80 % ranges hold 70.0%",
        "plain, hour 1: 80 % ranges hold 90.0%",
        "plain: promises have a skill of 0.10",
    ]
    assert coverage([])["held_80"] is None
    assert promises([]) == {"n": 0, "bands": []}
