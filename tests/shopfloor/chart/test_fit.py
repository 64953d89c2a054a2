"""Whether one plate's thickness may stand for another's: one rule for office, floor and quotes."""

from __future__ import annotations

import itertools
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopfloor.chart.fit import SAME_MM, PlateFit, equal_mm, fit, fitting_mm, is_equal
from shopfloor.models import Sheet
from shopfloor.stock.plate_fit import plate_unfit, plates_like
from tests.processes import ROOT

MM = st.floats(0.3, 200)


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [
        # 1/4 in is 6.35 mm: 6 mm is 0.35 off, less than a tenth of 6; 8 mm is 1.65 off.
        (6.35, 6.0, PlateFit.NEAR), (6.35, 8.0, PlateFit.NO), (6.35, 6.3500001, PlateFit.SAME),
        (10, 11, PlateFit.NEAR), (10, 11.01, PlateFit.NO), (10, 10.01, PlateFit.SAME),
        (10, 10.011, PlateFit.NEAR), (0.05, 0.06, PlateFit.SAME), (0.05, 0.065, PlateFit.NO),
    ],
)  # fmt: skip
def test_two_thicknesses(one, other, said):
    assert fit(one, other) is fit(other, one) is said


@given(MM, MM, st.sampled_from([PlateFit.NEAR, PlateFit.SAME]))
def test_a_list_takes_what_the_rule_takes(one, other, accepts):
    low, high = fitting_mm(one, accepts)
    if min(abs(other - low), abs(other - high)) > 1e-9:  # but for the last bit of the borders
        assert (low <= other <= high) == (fit(one, other) >= accepts)


def test_lists_and_refusals_agree(nest, sheet):
    for mm in (5.7, 5.8, 6.0, 6.35, 6.9, 7.0, 8.0):
        Sheet.objects.update(thickness_mm=mm)
        sheet.refresh_from_db()
        listed = Sheet.objects.filter(plates_like(nest)).exists()
        assert listed == (plate_unfit(sheet, None, nest) == ""), mm
    assert [fit(nest.thickness_mm, mm) for mm in (5.7, 5.8, 6.9, 7.0)] == [
        PlateFit.NO, PlateFit.NEAR, PlateFit.NEAR, PlateFit.NO,
    ]  # fmt: skip


def test_the_answers_are_in_order():
    assert all(a < b for a, b in itertools.pairwise((PlateFit.NO, PlateFit.NEAR, PlateFit.SAME)))


def test_the_same_number_is_no_wider_in_python_than_in_a_query():
    for off, equal in ((0.0, True), (0.9e-6, True), (1.1e-6, False), (SAME_MM, False)):
        low, high = equal_mm(6.35)
        assert is_equal(6.35, 6.35 + off) is (low <= 6.35 + off <= high) is equal


def test_only_fit_compares_thicknesses():
    compares = re.compile(r"abs\([^()\n]*thickness[^()\n]*\)\s*[<>]")
    found = [
        str(path) for room in ("shopfloor", "planning/services", "planning/reports", "dashboards")
        for path in (ROOT / room).rglob("*.py") if compares.search(path.read_text())
    ]  # fmt: skip
    assert found == []
