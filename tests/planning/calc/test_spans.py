"""Spans against a slow independent version: one mark a microsecond."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from planning.calc.spans import intersect, length, shared_us, subtract, union

spans = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), max_size=8)


def _marks(pairs):
    return {at for start, end in pairs for at in range(start, end)}


def test_what_a_span_shares_with_others():
    others = [(0, 10), (20, 30), (40, 50)]
    assert shared_us((5, 45), others) == 5 + 10 + 5
    assert shared_us((10, 20), others) == shared_us((60, 70), others) == 0
    assert shared_us((22, 25), others) == 3


@given(spans, spans)
def test_spans_are_sets_of_instants(left, right):
    a, b = union(left), union(right)
    assert _marks(a) == _marks(left)
    assert _marks(intersect(a, b)) == _marks(left) & _marks(right)
    assert _marks(subtract(a, b)) == _marks(left) - _marks(right)
    assert length(a) == len(_marks(left))
    assert all(first[1] < second[0] for first, second in pairwise(a))
