"""Items against sums that are made without them, and whose cases are worked by hand in
test_variance."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from planning.calc.itemised import itemised
from planning.calc.spent import Burn
from tests.planning.calc.slow_spent import slow_spent

S = 1_000_000


def test_each_pause_arc_and_stop_is_an_item_of_its_own():
    """Loading 10 s; contour 1 burns 30 s, 2 of them piercing; 4 s on the way where 3 were planned;
    contour 2 is lit in vain for 5 s, then after 1 s burns 20 s, 2 of them piercing; a stop of 15 s
    in the 30 s to the end."""
    burns = [
        Burn(10 * S, 40 * S, 1, False, 12 * S),
        Burn(44 * S, 49 * S, 2, False, None),
        Burn(50 * S, 70 * S, 2, False, 52 * S),
    ]
    found = itemised(
        [(0, 100 * S)], burns, [(80 * S, 95 * S)], [], pierces_known=True,
        planned_arc_us={1: 30 * S, 2: 20 * S}, travel_us={1: 0, 2: 3 * S},
    )  # fmt: skip
    said = {
        name: [(item.from_us // S, item.us // S, item.burn) for item in items]
        for name, items in found.items()
    }
    assert said == {
        "cutting": [(12, 28, 0), (52, 18, 2)],
        "piercing": [(10, 2, 0), (50, 2, 2)],
        "repeats": [(44, 5, 1)],
        "stoppages": [(80, 15, None)],
        "travel": [(40, 5, None)],
        "loading with waiting": [(0, 10, None), (70, 10, None), (95, 5, None)],
    }


spans = st.tuples(st.integers(0, 400), st.integers(0, 60)).map(
    lambda pair: (pair[0] * S, (pair[0] + pair[1]) * S)
)
burnt = st.builds(
    lambda span, contour, repeat, after: Burn(
        *span, contour, repeat, None if after is None else min(span[0] + after * S, span[1])
    ),
    spans,
    st.one_of(st.none(), st.integers(1, 4)),
    st.booleans(),
    st.one_of(st.none(), st.integers(0, 5)),
)
planned = st.dictionaries(st.integers(1, 4), st.integers(0, 60).map(lambda s: s * S))


@given(
    st.lists(spans, max_size=3), st.lists(burnt, max_size=8), st.lists(spans, max_size=3),
    st.lists(spans, max_size=3), st.booleans(), planned, planned,
)  # fmt: skip
def test_the_items_of_a_name_sum_to_it_whatever_overlaps(
    windows, burns, stops, silences, pierces, arcs, travel
):
    rest = {"pierces_known": pierces, "planned_arc_us": arcs, "travel_us": travel}
    found = itemised(windows, burns, stops, silences, **rest)
    sums = {name: sum(item.us for item in items) for name, items in found.items()}
    assert sums == slow_spent(windows, burns, stops, silences, **rest)
