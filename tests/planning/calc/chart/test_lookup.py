from __future__ import annotations

import math
from dataclasses import replace

import pytest

from planning.calc.chart import ChartError, ChartRow, lookup, review

THIN = ChartRow(
    "A", "mild steel", 3, 4000, current_a=60, arc_v=110, kerf_mm=1.5, pierce_delay_s=0.0,
    touch_off_s=1.5, pierce_height_mm=3, cut_height_mm=1.5, max_pierce_mm=10, gas="air", line=2,
)  # fmt: skip
THICK = replace(THIN, thickness_mm=12, speed_mm_min=1000, pierce_delay_s=0.9, kerf_mm=1.8, line=3)
ROWS = [THICK, THIN]


def test_a_thickness_in_the_chart_gives_its_own_row():
    found = lookup(ROWS, "a", "Mild  Steel", 3)
    assert found.row is THIN
    assert found.rows == (THIN,)
    assert found.start == "pierce"
    assert found.warnings == ()


def test_between_rows_it_is_log_log():
    # By hand: 6 mm is the geometric mean of 3 and 12, so the speed is that of 4000 and 1000: 2000;
    # kerf sqrt(1.5 x 1.8); a pierce delay of 0 in one row is taken linearly: 0.45.
    found = lookup(ROWS, "A", "mild steel", 6)
    assert found.row.speed_mm_min == pytest.approx(2000, rel=1e-12)
    assert found.row.kerf_mm == pytest.approx(math.sqrt(2.7), rel=1e-12)
    assert found.row.pierce_delay_s == pytest.approx(0.45)
    assert found.row.touch_off_s == pytest.approx(1.5)
    assert found.rows == (THIN, THICK)
    assert "interpolated" in found.warnings[0]


def test_of_three_rows_those_around_the_thickness_are_taken():
    middle = replace(THIN, thickness_mm=6, speed_mm_min=2000, line=4)
    found = lookup([*ROWS, middle], "A", "mild steel", 9)
    assert found.rows == (middle, THICK)
    assert found.row.speed_mm_min == pytest.approx(12000 / 9, rel=1e-12)


def test_a_power_law_is_met_exactly_anywhere_between():
    for thickness in (3.5, 5, 8, 11.9):
        speed = (
            lookup(ROWS, "A", "mild steel", thickness).row.speed_mm_min
            if thickness <= 10
            else (lookup(ROWS, "A", "mild steel", thickness, edge_start=True).row.speed_mm_min)
        )
        assert speed == pytest.approx(12000 / thickness, rel=1e-12)


def test_a_figure_missing_in_one_row_stays_unknown():
    found = lookup([THIN, replace(THICK, kerf_mm=None)], "A", "mild steel", 6)
    assert found.row.kerf_mm is None
    assert found.efficiency is None


@pytest.mark.parametrize(
    ("question", "line", "said"),
    [
        (("A", "mild steel", 2.9), 2, "beyond"),
        (("A", "mild steel", 12.1), 3, "beyond"),
        (("A", "mild steel", 0.25), 2, r"inches meant \(6\.35 mm\)"),
        (("A", "mild steel", 254), 3, r"mm meant \(10 mm\)"),
        (("B", "mild steel", 6), 3, "there are A"),
        (("A", "brass", 6), 3, "mild steel"),
        (("A", "mild steel", math.nan), 2, "not a thickness"),
        (("A", "mild steel", 11), 2, "edge start"),
        (("A", "mild steel", 12), 3, "edge start"),
    ],
)
def test_what_the_chart_cannot_answer_is_refused(question, line, said):
    with pytest.raises(ChartError, match=said) as caught:
        lookup(ROWS, *question)
    assert caught.value.line == line


def test_above_the_pierce_limit_an_edge_start_may_be_asked_for():
    found = lookup(ROWS, "A", "mild steel", 12, edge_start=True)
    assert found.start == "edge"
    assert "edge start only" in found.warnings[-1]
    assert lookup(ROWS, "A", "mild steel", 10).start == "pierce"


@pytest.mark.parametrize(("thin", "thick"), [(10, 8), (8, 10), (None, 8), (8, None)])
def test_between_rows_the_lower_pierce_limit_holds(thin, thick):
    rows = [replace(THIN, max_pierce_mm=thin), replace(THICK, max_pierce_mm=thick)]
    assert lookup(rows, "A", "mild steel", 8).start == "pierce"
    with pytest.raises(ChartError, match="above the pierce limit of 8 mm"):
        lookup(rows, "A", "mild steel", 8.1)
    found = lookup(rows, "A", "mild steel", 9, edge_start=True)
    assert (found.start, found.row.max_pierce_mm) == ("edge", 8)


def test_between_rows_without_a_pierce_limit_none_is_made_up():
    rows = [replace(THIN, max_pierce_mm=None), replace(THICK, max_pierce_mm=None)]
    found = lookup(rows, "A", "mild steel", 11)
    assert (found.start, found.row.max_pierce_mm) == ("pierce", None)


def test_two_rows_for_one_thickness_are_refused_unless_the_gas_tells_them_apart():
    both = [*ROWS, replace(THIN, gas="oxygen", line=4), replace(THICK, gas="oxygen", line=5)]
    with pytest.raises(ChartError, match="line 2 too"):
        lookup(both, "A", "mild steel", 6)
    assert lookup(both, "A", "mild steel", 6, gas="oxygen").rows[0].line == 4
    with pytest.raises(ChartError, match="gas 'argon'"):
        lookup(both, "A", "mild steel", 6, gas="argon")
    with pytest.raises(ChartError, match="another gas"):
        lookup([THIN, replace(THICK, gas="oxygen")], "A", "mild steel", 6)


def test_nothing_in_the_chart():
    with pytest.raises(ChartError):
        lookup([], "A", "mild steel", 6)


def test_a_speed_beyond_the_arcs_power_is_refused():
    # Published heat of melting for mild steel: 6 kW at the arc can melt 3255 mm/min of a 1.8 mm
    # kerf in 6 mm and no more (constants from memory, worked out apart from this project).
    row = replace(THIN, thickness_mm=6, kerf_mm=1.8, current_a=50, arc_v=120)
    with pytest.raises(ChartError, match="times the power"):
        lookup([replace(row, speed_mm_min=3260)], "A", "mild steel", 6)
    fast = lookup([replace(row, speed_mm_min=3250)], "A", "mild steel", 6)
    assert fast.efficiency == pytest.approx(1, abs=0.01)
    assert "unlikely fast" in fast.warnings[0]
    slow = lookup([replace(row, speed_mm_min=100)], "A", "mild steel", 6)
    assert "unlikely slow" in slow.warnings[0]
    # Burning iron adds heat, so oxygen on steel is only doubted, and on aluminium refused.
    burning = replace(row, speed_mm_min=3500, gas="oxygen")
    assert "unlikely" in lookup([burning], "A", "mild steel", 6).warnings[0]
    with pytest.raises(ChartError):
        lookup([replace(burning, material="aluminium", speed_mm_min=99999)], "A", "aluminium", 6)


def test_review_finds_rows_that_cannot_be():
    # Speeds 12000 / t; the row for 6 mm was typed in inches a minute (2000 / 25.4 = 78.7), the one
    # for 9 mm is faster than the arc can melt.
    rows = [THIN, replace(THIN, thickness_mm=6, speed_mm_min=78.7, line=4), THICK]
    assert [(f.line, f.impossible) for f in review(rows)] == [(3, False), (4, False), (4, False)]
    assert any("25.4" in f.text for f in review(rows) if f.line == 4)
    impossible = review([replace(THICK, thickness_mm=9, speed_mm_min=20000)])
    assert [f.impossible for f in impossible] == [True]
    assert review(ROWS) == []


@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf, math.nan])
def test_what_is_no_thickness_is_called_so(bad):
    with pytest.raises(ChartError, match="is not a thickness"):
        lookup(ROWS, "A", "mild steel", bad)


def test_a_row_at_the_chart_s_end_is_meant_too():
    """3 and 12 mm are the ends: 3 in as mm, and 12 mm taken for inches."""
    with pytest.raises(ChartError, match=r"inches meant \(3 mm\)"):
        lookup(ROWS, "A", "mild steel", 3 / 25.4)
    with pytest.raises(ChartError, match=r"mm meant \(12 mm\)"):
        lookup(ROWS, "A", "mild steel", 12 * 25.4)
