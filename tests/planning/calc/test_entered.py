"""An entry is spread evenly over its time, and its parts add up to it."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from planning.calc.entered import Entry


def test_half_of_its_time_has_half_of_it():
    entry = Entry("1", (100, 200), 12, 40)
    assert entry.within([(0, 150)]) == (6, 20)
    # 1.2 starts by 110 and 2.4 by 120; 9.6 by 180 and 12 at its end: whole ones begun then
    assert entry.within([(110, 120), (180, 300)]) == (1 + 3, 12)
    assert entry.within([(200, 300)]) == (0, 0)


@given(st.lists(st.integers(0, 100), max_size=6), st.integers(0, 50), st.integers(0, 90))
def test_a_time_cut_in_pieces_adds_up_to_the_whole(cuts, starts, burning):
    entry = Entry("1", (5, 95), starts, burning)
    edges = sorted({0, *cuts, 100})
    parts = [entry.within([span]) for span in itertools.pairwise(edges)]
    assert (sum(n for n, _ in parts), sum(us for _, us in parts)) == (starts, burning)
