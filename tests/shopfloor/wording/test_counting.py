"""A number and what it counts."""

from __future__ import annotations

import pytest

from shopfloor.wording.counts import count, count_fractional, grouped


def test_one_is_one_and_thousands_stand_apart():
    assert [count(n, "{n} arc", "{n} arcs") for n in (0, 1, 2, 1204)] == [
        "0 arcs",
        "1 arc",
        "2 arcs",
        "1,204 arcs",
    ]


@pytest.mark.parametrize(
    ("quantity", "said"), [(1.0, "1 start"), (72.0, "72 starts"), (72.5, "72.5 starts")]
)
def test_what_is_shared_shows_its_part_only_where_there_is_one(quantity, said):
    assert count_fractional(quantity, "{n} start", "{n} starts") == said


def test_a_figure_of_a_table_is_grouped_and_a_sign_for_none_is_not():
    assert [grouped(figure) for figure in (7, 1009, 1234567, "–", None)] == [
        "7", "1,009", "1,234,567", "–", None,
    ]  # fmt: skip
