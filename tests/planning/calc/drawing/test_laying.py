from __future__ import annotations

import pytest

from planning.calc.drawing.laying import parts_a_sheet


def test_rows_and_columns_with_gaps_and_edges():
    # 2500 - 20 + 10 = 2490 over 110 and 1250 - 20 + 10 = 1240 over 60: 22 x 20; the other way
    # 2490 over 60 and 1240 over 110: 41 x 11 = 451
    assert parts_a_sheet((100, 50), (2500, 1250)) == 451


def test_a_part_of_the_sheets_own_size_less_the_edges_lies_once():
    assert parts_a_sheet((2480, 1230), (2500, 1250)) == 1
    assert parts_a_sheet((2481, 1230), (2500, 1250)) == 0


def test_without_a_gap_or_edge_it_is_whole_division():
    assert parts_a_sheet((10, 10), (100, 50), gap_mm=0, edge_mm=0) == 50


def test_a_size_of_nothing_is_refused():
    with pytest.raises(ValueError, match="above zero"):
        parts_a_sheet((0, 10), (100, 100))
