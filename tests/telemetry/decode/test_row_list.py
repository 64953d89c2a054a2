"""Rows kept as lists and stretches."""

from __future__ import annotations

from telemetry.decode.row_list import Rows


def test_the_first_row_is_the_one_at_place_0():
    rows = Rows([[], [("a", 1), ("b", 2)], [("c", 3)]])
    assert rows.first == rows[0] == ("a", 1)
