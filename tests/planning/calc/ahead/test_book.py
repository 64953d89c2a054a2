"""From a table's log to records and to what is under way."""

from __future__ import annotations

import pytest

from planning.calc.ahead.book import Pause, RunLog, TableBook, learned, now_at
from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.draws import UnderWay
from planning.calc.ahead.records import Step

H = 3600.0
CLOCK = StaffedClock.of(
    [(6 * H, 10 * H), (10.5 * H, 14.5 * H), (30 * H, 34 * H), (34.5 * H, 38.5 * H)],
    [False, True, False, True],
)


def log(run, opened, arcs, closed, wear_set=1, plan=1000.0):
    return RunLog(
        run, ("cell",), "nest", wear_set, opened, closed, tuple(arcs), plan, (400.0, 600.0)
    )


# loading 300 s, 1,200 s to the last arc of which 200 s a stoppage, unloading 240 s
FIRST = log(1, 6 * H, [(6 * H + 300, 6 * H + 700, 1), (6 * H + 900, 6 * H + 1500, 2)], 6 * H + 1740)
# 500 s between, another set; over the break of half an hour
SECOND = log(2, 6 * H + 2240, [(9.9 * H, 10 * H, 1), (10.5 * H, 10.6 * H, 2)], 10.7 * H, wear_set=2)
# begins before a shift ends, goes on in the next: idle 600 s before and 900 s after
THIRD = log(
    3, 13 * H, [(13.5 * H, 14.5 * H - 600, 1), (30 * H + 900, 31 * H, 2)], 31.2 * H, wear_set=2
)
STOP = Pause(6 * H + 700, 6 * H + 900, planned=False)
CHANGE = Pause(6 * H + 1740, 6 * H + 2240, planned=True)
BOOK = TableBook([FIRST, SECOND, THIRD], [STOP, CHANGE], CLOCK, 0)


def test_cuts_are_staffed_time_without_stoppages_and_idle_borders():
    cuts, _, stops, borders = learned(BOOK, 40 * H)
    third = (1 * H - 600) + (1 * H - 900)
    assert [cut.took_s for cut in cuts] == pytest.approx([1000, 0.2 * H, third])
    assert [stop.seconds for stop in stops] == [200]
    assert borders == pytest.approx([1500])


def test_handling_is_what_lies_between():
    _, steps, _, _ = learned(BOOK, 40 * H)
    by_step = {step: [one.seconds for one in steps if one.step is step] for step in Step}
    assert by_step[Step.LOAD] == pytest.approx([300, 3.9 * H - 2240, 0.5 * H])
    assert by_step[Step.UNLOAD] == pytest.approx([240, 0.1 * H, 0.2 * H])
    assert by_step[Step.CHANGE] == pytest.approx([500])  # a planned stoppage is the change itself
    assert by_step[Step.GAP] == []  # 2.3 hours between are no handling


def test_an_end_of_shift_between_runs_is_idle_beside_the_ordinary_gap():
    """Gaps of 60, 90 and 120 s; then 700 s over a shift's end, of which 90 are drawn as a gap."""
    runs = [
        log(1, 6 * H, [(6.1 * H, 6.9 * H, 1)], 7 * H),
        log(2, 7 * H + 60, [(7.1 * H, 7.9 * H, 1)], 8 * H),
        log(3, 8 * H + 90, [(8.1 * H, 8.9 * H, 1)], 9 * H),
        log(4, 9 * H + 120, [(9.5 * H, 14 * H, 1)], 14.5 * H - 400),
        log(5, 30 * H + 300, [(30.5 * H, 31 * H, 1)], 32 * H),
    ]
    _, _, _, borders = learned(TableBook(runs, [], CLOCK, 0), 40 * H)
    assert borders == pytest.approx([700 - 90])


def test_nothing_is_known_before_it_ended():
    cuts, steps, stops, borders = learned(BOOK, 6 * H + 800)
    assert [*cuts, *stops, *borders] == []
    assert [(one.step, one.seconds) for one in steps] == [(Step.LOAD, 300)]


@pytest.mark.parametrize(
    ("at", "run", "under"),
    [
        (6 * H + 100, 1, UnderWay(step=Step.LOAD, age_s=100)),
        (6 * H + 500, 1, UnderWay(rest_s=600 + 200)),  # half of the first contour is burnt
        (6 * H + 800, 1, UnderWay(rest_s=600, stopped=True, age_s=100)),
        (6 * H + 1600, None, UnderWay(step=Step.UNLOAD, age_s=100)),
        (6 * H + 1840, None, UnderWay(step=Step.GAP, age_s=100)),
        (5 * H, None, UnderWay()),
        (33 * H, None, UnderWay(step=Step.GAP, age_s=1.8 * H)),
        (39 * H, None, UnderWay()),
    ],
)
def test_what_is_under_way(at, run, under):
    found, what = now_at(BOOK, at)
    assert (found.run if found else None) == run
    assert (what.rest_s, what.step, what.stopped) == (under.rest_s, under.step, under.stopped)
    assert what.age_s == pytest.approx(under.age_s)


def test_a_run_without_a_plan_has_no_rest_to_tell():
    book = TableBook([log(1, 6 * H, [(6.1 * H, 6.2 * H, None)], None, plan=None)], [], CLOCK, 0)
    assert book.runs[0].rest_s(7 * H) is None
    assert now_at(book, 7 * H)[1] == UnderWay(rest_s=0.0)


def test_arcs_without_a_contour_say_no_more_than_that_it_has_begun():
    one = log(1, 6 * H, [(6.1 * H, 6.2 * H, None)], None)
    assert one.rest_s(7 * H) == 500
