"""Queues of known answer, and chances by counting.

Pinedo, Scheduling: Theory, Algorithms, and Systems (4th ed.), Example 3.4.5 (1 || sum Tj, five
jobs: least total tardiness 370) and Example 5.1.2 (P4 || Cmax, longest first: 15 against 12)."""

from __future__ import annotations

import math
from itertools import permutations
from types import SimpleNamespace

import numpy as np
import pytest

from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.promise import (
    Route,
    Sheet,
    TableAhead,
    chance,
    drawn,
    first,
    load_s,
    moved,
    placed,
    promised,
)
from planning.calc.ahead.records import Step

ALWAYS = StaffedClock.of([(0, 100_000)], [True])


class Exact:
    """A shop in which everything takes exactly its plan and a set change `change_s`."""

    draws = 1

    def __init__(self, now=0.0, change_s=0.0, noise=None):
        self.now = SimpleNamespace(
            at=now, week=0, under_way=SimpleNamespace(rest_s=None, step=None)
        )
        self.chance = None
        self.change_s = change_s
        nothing = SimpleNamespace(draw=lambda _chance, shape: np.zeros(shape))
        self.fit = SimpleNamespace(border=nothing)
        self.noise = noise if noise is not None else np.zeros(1)
        self.draws = len(self.noise)

    def walked(self, weeks):
        return np.zeros(self.draws)

    def step(self, step, number):
        return np.full(self.draws, self.change_s if step == Step.CHANGE else 0.0)

    def cut_and_stopped(self, run, rest_s, number, level):
        return rest_s + self.noise, np.zeros(self.draws)


def sheet(key, plan_s, *, on=("north",), due=math.inf, wear_set="fast", cost=1.0):
    routes = {table: Route(plan_s, "cell", cost) for table in on}
    return Sheet(key, key, wear_set, frozenset({key}), routes, due)


def table(key="north", waits=(), clock=ALWAYS, **more):
    worlds = more.pop("worlds", None) or Exact()
    return TableAhead(key, clock, worlds, tuple(waits), **more)


TARDY = {1: (121, 260), 2: (79, 266), 3: (147, 266), 4: (83, 336), 5: (130, 337)}


def tardiness(order, clock=ALWAYS):
    found = drawn([table(waits=[sheet(job, TARDY[job][0]) for job in order], clock=clock)])
    return sum(max(float(found.jobs[job][0]) - TARDY[job][1], 0) for job in order)


def test_the_best_order_of_five_jobs_is_late_by_370():
    assert tardiness([1, 2, 4, 5, 3]) == 370
    assert min(tardiness(order) for order in permutations(TARDY)) == 370


def test_the_same_queue_through_a_calendar_of_shifts():
    """100 s staffed, 50 s not: a job that needs its n-th hundred waits n times in between. By
    hand: done at 121+50, 200+50, 283+100, 413+200, 560+250."""
    shifts = StaffedClock.of([(150 * n, 150 * n + 100) for n in range(20)], [True] * 20)
    order = [1, 2, 4, 5, 3]
    found = drawn([table(waits=[sheet(job, TARDY[job][0]) for job in order], clock=shifts)])
    assert [float(found.jobs[job][0]) for job in order] == [171, 250, 383, 613, 810]


def test_unlisted_work_goes_longest_first_to_the_table_free_first():
    """Nine jobs on four like tables, due in the order of their lengths: 15, where 12 is best."""
    lengths = [7, 7, 6, 6, 5, 5, 4, 4, 4]
    tables = [table(name) for name in "abcd"]
    work = [sheet(n, length, on="abcd", due=n) for n, length in enumerate(lengths)]
    found, left = placed(tables, work, dict.fromkeys("abcd", 0.0))
    assert left == []
    last = max(float(ends[0]) for ends in drawn(found).jobs.values())
    assert last == 15


def test_unlisted_work_stands_behind_the_list_by_due_date_on_its_cheapest_table():
    listed = [sheet("listed", 50)]
    dear = Sheet("a", "a", "fast", frozenset({"a"}),
                 {"north": Route(10, "c", 5.0), "south": Route(10, "c", 4.0)}, due=9.0)  # fmt: skip
    work = [sheet("late", 10, due=100), sheet("soon", 10, due=50), dear, sheet("none", 9, on=())]
    tables = [table(waits=listed), table("south")]
    (north, south), left = placed(tables, work, {"north": 0.0, "south": 0.0})
    assert [one.key for one in north.waits] == ["listed", "soon", "late"]
    assert [one.key for one in south.waits] == ["a"]
    assert north.unlisted_from == 1
    assert [one.key for one in left] == ["none"]


def test_a_job_ends_with_its_last_sheet_on_any_table_draw_by_draw():
    one, other = np.array([0.0, 10.0, 20.0, 30.0]), np.array([30.0, 0.0, 0.0, 0.0])
    tables = [
        table(waits=[sheet("job", 100)], worlds=Exact(noise=one)),
        table("south", [sheet("job", 100, on=("south",))], worlds=Exact(noise=other)),
    ]
    ends = drawn(tables).jobs["job"]
    assert ends.tolist() == [130, 110, 120, 130]
    assert chance(ends, 119.9) == 0.25
    assert chance(ends, 120) == 0.5
    assert (promised(ends, 0.5), promised(ends, 0.51), promised(ends, 0.25)) == (120, 130, 110)


def test_what_ends_beyond_the_calendar_is_never_promised():
    short = StaffedClock.of([(0, 50)], [True])
    ends = drawn([table(waits=[sheet("job", 51)], clock=short)]).jobs["job"]
    assert (chance(ends, 1e12), promised(ends, 0.5)) == (0.0, math.inf)


def test_a_set_change_is_drawn_where_the_next_sheet_asks_for_another_set():
    waits = [sheet(1, 10), sheet(2, 10, wear_set="fine"), sheet(3, 10, wear_set="fine")]
    found = drawn([table(waits=waits, worlds=Exact(change_s=100), set_now="fast")])
    assert [float(found.jobs[n][0]) for n in (1, 2, 3)] == [10, 120, 130]


@pytest.mark.parametrize("seed", range(30))
def test_ends_and_loads_are_those_of_a_second_by_second_count(seed):
    """Brute force: the seconds are walked one by one, staffed or not."""
    chance_of = np.random.default_rng(seed)
    edges = np.sort(chance_of.choice(np.arange(1, 900), 14, replace=False)).reshape(-1, 2)
    spans = [(int(a), int(b)) for a, b in edges]
    clock = StaffedClock.of(spans, [True] * len(spans))
    now = int(chance_of.integers(0, 100))
    plans = [int(one) for one in chance_of.integers(1, 60, 6)]
    staffed = [t for t in range(now, 900) if any(a <= t < b for a, b in spans)]
    days = [(0.0, 300.0), (300.0, 600.0), (600.0, 900.0)]
    ends, loads, at = [], np.zeros((len(plans), 3)), 0
    for place, plan in enumerate(plans):
        own = staffed[at : at + plan]
        at += plan
        ends.append(own[-1] + 1 if len(own) == plan else math.inf)
        for second in own:
            loads[place, second // 300] += 1
    one = table(waits=[sheet(n, plan) for n, plan in enumerate(plans)], clock=clock,
                worlds=Exact(now=now))  # fmt: skip
    found = drawn([one])
    assert [float(found.jobs[n][0]) for n in range(len(plans))] == ends
    assert np.array_equal(load_s(found.tables["north"], clock, now, days), loads)


def test_what_would_help_moves_only_what_waits():
    both = ("north", "south")
    tables = [
        table(waits=[sheet(1, 10), sheet(2, 10, on=both), sheet(3, 10)],
              under_way=sheet(2, 5, on=both)),
        table("south", [sheet(4, 10, on=("south",))]),
    ]  # fmt: skip
    north, south = moved(tables, 2, "south")
    assert [one.key for one in north.sheets] == [2, 1, 3]
    assert [one.key for one in south.waits] == [2, 4]
    assert moved(tables, 3, "south") is None
    assert [one.key for one in first(tables, 3)[0].waits] == [3, 1, 2]
    assert first(tables, 1) is None
