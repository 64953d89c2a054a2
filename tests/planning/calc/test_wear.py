from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from planning.calc.wear import charges

starts = st.lists(st.integers(0, 400), max_size=8)


def test_a_piece_put_back_is_charged_its_price_by_what_it_gave():
    """$19 at 600 rated starts: 300 are charged 9.50. It fails at 550: 300/550 = 10.36, 250/550 =
    8.64."""
    assert charges(1900, [300], rated_starts=600).by_use == (950,)
    found = charges(1900, [300, 250], rated_starts=600, ended="failed")
    assert found.by_use == (1036, 864)
    assert found.total == 1900


def test_a_crashed_piece_keeps_its_charges_and_the_rest_is_apart():
    found = charges(1400, [100], rated_starts=200, ended="crashed")
    assert (found.by_use, found.rest) == ((700,), 700)


def test_what_was_worn_before_is_not_charged_to_runs():
    found = charges(1000, [30], rated_starts=100, prior_starts=20)
    assert (found.before, found.by_use) == (200, (300,))


@given(
    st.integers(0, 10**6),
    starts,
    st.none() | st.integers(1, 900),
    st.none() | st.integers(0, 300),
    st.sampled_from(["failed", "retired", "crashed", "lost"]),
)
def test_once_it_has_ended_all_of_its_price_is_somewhere(price, uses, rated, prior, ended):
    found = charges(price, uses, rated_starts=rated, prior_starts=prior, ended=ended)
    assert found.total == price
    assert min(found.by_use, default=0) >= 0


@given(st.integers(0, 10**6), starts, st.integers(1, 900))
def test_while_it_lives_never_more_than_its_price_is_charged(price, uses, rated):
    found = charges(price, uses, rated_starts=rated)
    assert found.total <= price
    assert found.rest == 0
    ideal = min(price, price * sum(uses) / rated)
    assert abs(found.total - ideal) <= 0.5 + 1e-6
