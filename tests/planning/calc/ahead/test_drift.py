"""Changes of a table that its own shifts tell of."""

from __future__ import annotations

import math
from random import Random

import pytest

from planning.calc.ahead.book import DAY_STEP
from planning.calc.ahead.drift import (
    NEWS,
    Figure,
    Shift,
    changes,
    drifts,
    normal_of,
    recent,
    shifts_of,
)
from planning.calc.ahead.records import Cut, Handling, Records, Step, Stop

DAYS, AT = 60, 40


def _records(*, slower=1.0, loading=1.0, stops=1.0, seed=1):
    """Sixty shifts of seven runs; from the fortieth on what is asked for is multiplied."""
    random = Random(seed)
    cuts, handling, halts = [], [], []
    for day in range(DAYS):
        late = day >= AT
        number = day * DAY_STEP
        for run in range(7):
            nest = random.randrange(8)
            ratio = 1.05 * math.exp(random.gauss(0, 0.04) + 0.02 * nest)
            ratio *= slower if late else 1.0
            cuts.append(Cut(number, day // 5, nest % 3, nest, 3000.0, 3000.0 * ratio))
            took = 300 * math.exp(random.gauss(0, 0.3)) * (loading if late else 1.0)
            handling.append(Handling(Step.LOAD, number, took))
            if random.random() < 0.3 * (stops if late else 1.0):
                halts.append(Stop(number, 600.0, nest))
            if run % 3 == 0:
                handling.append(Handling(Step.CHANGE, number, 700 * random.lognormvariate(0, 0.2)))
    return Records(cuts, handling, halts)


def test_a_shop_that_goes_on_as_it_did_is_told_nothing():
    assert [len(drifts(_records(seed=seed))) for seed in range(5)] == [0] * 5


@pytest.mark.parametrize(
    ("change", "figure", "soon", "ratio"),
    [
        ({"slower": 1 / 0.9}, Figure.BURNING, 6, 1 / 0.9),
        ({"loading": 1.3}, Figure.LOADING, 9, 1.3),
        ({"stops": 2.5}, Figure.STOPS, 15, 2.5),
    ],
)
def test_what_changed_is_named_with_how_much(change, figure, soon, ratio):
    [found] = drifts(_records(**change))
    assert found.figure is figure
    assert 0 <= found.noticed // DAY_STEP - AT < soon
    assert abs(found.since // DAY_STEP - AT) <= 2
    assert found.now / found.before == pytest.approx(ratio, rel=0.25)
    assert found.shifts_before == found.since // DAY_STEP


def test_another_mix_of_work_is_no_change():
    """Nests that always took longer come more often: against their own past nothing moved."""
    plain = _records()
    heavy = [
        Cut(one.day, one.week, "hard", "hard", 3000.0, 3000.0 * 1.5)
        for one in plain.cuts[::7]
    ]  # fmt: skip
    late = [one for one in plain.cuts if one.day < AT * DAY_STEP]
    mixed = sorted([*late, *heavy], key=lambda one: one.day)
    assert drifts(Records(mixed, plain.handling)) == []


def test_a_change_is_news_for_some_shifts_and_then_how_the_table_works():
    early = _records(slower=1 / 0.85)
    until = [one for one in early.cuts if one.day < (AT + 6) * DAY_STEP]
    assert [one.figure for one in recent(Records(until))] == [Figure.BURNING]
    assert len(drifts(early)) == 1
    assert recent(early) == [], f"noticed more than {NEWS} shifts ago"


def test_one_odd_shift_is_no_change():
    random = Random(2)
    shifts = [Shift(day, random.gauss(0, 1), 1.0) for day in range(40)]
    shifts[30] = Shift(30, 50.0, 1.0)
    assert changes(Figure.LOADING, shifts) == []


def test_scores_are_as_likely_as_their_t():
    # Student's t of 0.975: 2.776 (4), 2.228 (10), 2.042 (30); the normal's is 1.960.
    for freedom, t in ((4, 2.776), (10, 2.228), (30, 2.042)):
        assert normal_of(t, freedom) == pytest.approx(1.96, abs=0.01)
        assert normal_of(-t, freedom) == pytest.approx(-1.96, abs=0.01)


def test_a_table_with_nothing_on_record_has_not_changed():
    assert recent(Records()) == []
    assert all(not one for one in shifts_of(Records()).values())
