from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.control import NEEDED, individuals

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rates of ten batches. Data and limits from memory, the
# limits recomputed: ranges 2.0 2.3 1.4 3.5 3.4 1.4 0.2 1.2 1.5 have the mean 16.9 / 9.
NIST = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_the_handbooks_example():
    chart = individuals(NIST)
    assert chart.centre == pytest.approx(50.81, abs=1e-4)
    assert chart.range_mean == pytest.approx(1.8778, abs=1e-4)
    assert chart.upper == pytest.approx(55.8041, abs=1e-4)
    assert chart.lower == pytest.approx(45.8159, abs=1e-4)
    assert chart.range_upper == pytest.approx(6.1347, abs=1e-4)
    assert chart.in_control


def test_constants_are_those_of_the_range_of_two_normals():
    """d2 = 2 / sqrt(pi), D4 = 1 + 3 d3 / d2 with d3 = sqrt(2 - 4 / pi): exact forms, held against
    the printed figures within what the printing rounds."""
    from math import pi, sqrt

    from planning.calc.control import D2, D4

    d2, d3 = 2 / sqrt(pi), sqrt(2 - 4 / pi)
    assert pytest.approx(d2, abs=5e-4) == D2
    assert pytest.approx(1 + 3 * d3 / d2, abs=1e-3) == D4


def test_a_value_far_off_is_named_by_its_place():
    chart = individuals([*NIST, 60.0])
    # The last range is 7.9, so the mean range is (16.9 + 7.9) / 10 = 2.48 and the limit 8.102;
    # the mean is 568.1 / 11 = 51.645, the upper limit 51.645 + 3 x 2.48 / 1.128 = 58.241.
    assert chart.upper == pytest.approx(58.2411, abs=1e-3)
    assert chart.beyond == (10,)
    assert chart.jumps == ()
    assert not chart.in_control  # for this alone


def test_a_jump_shows_in_the_ranges():
    """Ten alike and one far off: ranges 0 x 9 and 9; mean 0.9, limit 2.9403."""
    chart = individuals([1.0] * 10 + [10.0])
    assert chart.jumps == (9,)


def test_eight_in_a_row_on_one_side():
    """Mean of eight ones, eight zeros and a 0.5 is 0.5: the eighth 1 is the first signal; 0.5 lies
    on the centre and breaks the row."""
    values = [1.0] * 8 + [0.5] + [0.0] * 8
    chart = individuals(values)
    assert chart.one_side == (7, 16)
    assert not chart.in_control


def test_too_few_are_not_judged():
    assert individuals(NIST[: NEEDED - 1]) is None


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_what_is_no_number_is_refused(bad):
    with pytest.raises(ValueError, match="not a number"):
        individuals([*NIST, bad])


@given(
    st.lists(st.floats(-1e6, 1e6), min_size=NEEDED, max_size=60),
    st.floats(0.1, 100),
    st.floats(-1e3, 1e3),
)
def test_a_change_of_unit_moves_the_limits_with_it(values, by, plus):
    one, other = individuals(values), individuals([value * by + plus for value in values])
    assert other.upper == pytest.approx(one.upper * by + plus, rel=1e-6, abs=1e-3)
    assert other.range_upper == pytest.approx(one.range_upper * by, rel=1e-6, abs=1e-3)
    assert one.lower <= one.centre <= one.upper


def test_a_value_on_its_limit_is_within():
    """Eight alike: no range at all, so both limits are the value itself."""
    chart = individuals([1.5] * 8)
    assert chart.lower == chart.upper == 1.5
    assert chart.beyond == ()
