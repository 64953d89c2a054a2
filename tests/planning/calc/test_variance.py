"""Where a run's time goes. The identities are checked on random arcs, the names by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc import spent as s
from planning.calc.entered import Entry
from planning.calc.itemised import itemised, summed
from planning.calc.spent import Burn, repeated, shares
from planning.calc.variance import (
    PlannedTimes,
    entered_variance,
    pierce_ends_known,
    run_variance,
)

US = 1_000_000
times = st.integers(0, 10_000)
pairs = st.tuples(times, times)
burns = st.lists(
    st.builds(
        lambda on, length, contour, repeat, pierced: Burn(
            on, on + length, contour, repeat, None if pierced is None else on + min(pierced, length)
        ),
        times,
        st.integers(0, 900),
        st.none() | st.integers(1, 6),
        st.booleans(),
        st.none() | st.integers(0, 200),
    ),
    max_size=25,
)
plans = st.builds(
    PlannedTimes,
    cut_us=times,
    pierce_us=times,
    travel_us=times,
    touch_off_us=times,
    load_us=times,
    arc_by_contour_us=st.just(dict.fromkeys(range(1, 7), 300)),
    travel_by_contour_us=st.just(dict.fromkeys(range(1, 7), 40)) | st.none(),
)


@given(st.lists(pairs, max_size=4), burns, st.lists(pairs, max_size=4), st.lists(pairs, max_size=3),
       plans, st.booleans())  # fmt: skip
def test_terms_always_sum_to_the_difference(windows, arcs, stops, silences, plan, pierces):
    found = run_variance(windows, arcs, stops, silences, plan, pierces_known=pierces)
    covered = {at for a, b in windows for at in range(a, b)}
    assert found.elapsed_us == len(covered)
    assert sum(found.spent.values()) == found.elapsed_us
    assert sum(found.planned.values()) == plan.total_us
    assert sum(found.terms.values()) == found.elapsed_us - plan.total_us
    assert min(found.spent.values(), default=0) >= 0
    if not pierces:
        assert found.misfires is None
        assert not {s.CUTTING, s.PIERCING} & set(found.spent)


@given(st.lists(pairs, max_size=3), st.lists(pairs, max_size=9), st.lists(pairs, max_size=4),
       st.lists(pairs, max_size=3))  # fmt: skip
def test_shares_agree_with_counting_instants(windows, arcs, stops, silences):
    def marks(spans):
        return {at for a, b in spans for at in range(a, b)}

    found = shares(windows, arcs, stops, silences)
    whole = marks(windows)
    burning = marks(arcs) & whole
    stopped = (marks(stops) & whole) - burning
    unknown = (marks(silences) & whole) - burning - stopped
    assert found.burning_us == len(burning)
    assert found.stopped_us == len(stopped)
    assert found.unknown_us == len(unknown)
    assert found.waiting_us == len(whole - burning - stopped - unknown)
    assert found.torch_us == sum(len(marks([arc]) & whole) for arc in arcs)


def test_what_was_entered_takes_the_place_of_unknown_alone():
    """Silent from 60 to 100, burning 0-30. Entered for 50-90 (half before the silence began is no
    matter of it: 30 of 40 lie within, so three quarters of 16, 12) and, of a second torch, for
    60-80, which the first covers already: 20 silent of its 20, so all its 5 of torch time."""
    entered = [Entry("1", (50, 90), 0, 16), Entry("2", (60, 80), 0, 5)]
    found = shares([(0, 100)], [(0, 30)], [], [(60, 100)], entered)
    assert (found.burning_us, found.waiting_us, found.unknown_us) == (42, 48, 10)
    assert (found.entered_us, found.entered_burning_us, found.torch_us) == (30, 12, 30 + 12 + 5)
    heard = shares([(0, 100)], [(0, 30)], [], [], entered)
    assert (heard.burning_us, heard.entered_us, heard.torch_us) == (30, 0, 30)


def test_pauses_are_told_apart_only_where_the_plan_knows_them():
    # arcs 0-10 and 12-22 and 60-70; the plan has 2 s of travel before each contour
    arcs = [Burn(0, 10 * US, 1), Burn(12 * US, 22 * US, 2), Burn(60 * US, 70 * US, 3)]
    travel = {1: 2 * US, 2: 2 * US, 3: 2 * US}
    window = [(0, 75 * US)]
    apart = summed(itemised(window, arcs, [], [], pierces_known=False, travel_us=travel))
    # 2 s of travel, then 38 s of pause: 2 s travel and 36 s wait; 5 s after the last arc
    assert apart == {
        s.CUTTING_WITH_PIERCING: 30 * US,
        s.TRAVEL: 4 * US,
        s.WAITS: 36 * US,
        s.LOADING_WITH_WAITING: 5 * US,
    }
    del travel[3]
    merged = summed(itemised(window, arcs, [], [], pierces_known=False, travel_us=travel))
    assert merged[s.TRAVEL_WITH_WAITING] == 40 * US
    assert s.WAITS not in merged
    assert s.TRAVEL not in merged


def test_a_contour_cut_in_two_goes_repeats_nothing():
    halves = [Burn(0, 12, 1), Burn(20, 38, 1)]
    assert repeated(halves, {1: 30}) == [False, False]
    assert repeated(halves, {}) == [True, False]
    assert repeated([Burn(0, 30, 1), Burn(40, 52, 1)], {1: 30}) == [False, True]


def test_what_was_typed_in_is_one_term_beside_its_stoppages():
    plan = PlannedTimes(600, 100, 200, 0, 100)
    found = entered_variance([(0, 1500)], [(100, 300)], plan)
    assert found.spent == {s.ALL_BUT_STOPPAGES: 1300, s.STOPPAGES: 200}
    assert found.terms == {s.ALL_BUT_STOPPAGES: 300, s.STOPPAGES: 200}


def test_nothing_known_gives_no_share_of_burning():
    assert shares([(0, 100)], [], [], [(0, 100)]).burning() is None
    assert shares([(0, 480)], [(0, 190)], [(200, 260)], [(300, 328)]).burning() == pytest.approx(
        (190 / 452, 190 / 480, 218 / 480)
    )


def test_pierce_lines_at_the_start_of_a_pierce_tell_it_from_cutting_as_little_as_none():
    plan = PlannedTimes(18, 2, 0, 0, 0, arc_by_contour_us={1: 10, 2: 10})
    late = [Burn(0, 10, 1, pierced_us=1), Burn(20, 30, 2, pierced_us=21)]
    early = [Burn(0, 10, 1, pierced_us=0), Burn(20, 30, 2, pierced_us=20)]
    assert pierce_ends_known(late, plan)
    assert not pierce_ends_known(early, plan)
    found = run_variance([(0, 30)], early, [], [], plan, pierces_known=True)
    assert found.terms[s.CUTTING_WITH_PIERCING] == 0
    assert s.PIERCING not in found.spent


def test_what_comes_before_a_first_start_in_vain_is_loading():
    """Ten before the first arc, which made nothing; eight on the way to the one that did; ten
    after it."""
    arcs = [Burn(10, 12, 1, True, None), Burn(20, 50, 1, False, None)]
    found = summed(itemised([(0, 60)], arcs, [], [], pierces_known=False, travel_us={1: 4}))
    assert found[s.LOADING_WITH_WAITING] == 20
    assert found[s.TRAVEL] == 8
    assert sum(found.values()) == 60
