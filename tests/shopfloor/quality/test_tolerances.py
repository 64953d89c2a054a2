"""What ISO 9013 allows sizes to be off, on the setup sheet and beside a check."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.urls import reverse

from planning.calc.tolerance import LimitDeviation
from shopfloor.models import Check
from shopfloor.quality.tolerances import allowed_words, limit_rows, off_by_mm, size_verdict

METRIC, INCH = SimpleNamespace(units="metric"), SimpleNamespace(units="inch")


def test_rows_go_up_to_the_largest_size():
    # 6 mm is in the thicknesses over 3.15 up to 6.3; sizes below 3, 10, 35, 125, 315.
    rows = limit_rows(6, 300, METRIC)
    assert [row.sizes for row in rows][:2] == ["0 mm to below 3 mm", "3 mm to below 10 mm"]
    assert rows[-1].sizes == "125 mm to below 315 mm"
    assert rows[-1].allowed == ("± 0.30 mm", "± 1.10 mm")
    assert limit_rows(151, 300, METRIC) == []
    assert limit_rows(6, 0, METRIC) == []


def test_a_figure_from_memory_says_so_and_an_empty_cell_is_unknown():
    assert allowed_words(LimitDeviation(1.8, "memory"), METRIC) == "± 1.80 mm (from memory)"
    assert allowed_words(None, METRIC) == "unknown"
    # 0.254 mm / 25.4 = 0.01 in
    assert allowed_words(LimitDeviation(0.254, "read"), INCH) == "± 0.0100 in"


@pytest.mark.parametrize(("shape", "off"), [("outside", "+0.30"), ("hole", "−0.30")])
def test_a_measured_size_is_told_with_what_is_allowed(shape, off):
    """50.30 for 50 outside: the path goes 0.15 mm a side nearer, kept as -0.15. In a hole the same
    correction is of 49.70. 6 mm thick, 50 mm is in 35 to 125: class 1 0.25, class 2 0.9."""
    check = Check(
        correction_mm=-0.15, shape=shape, measured={"nominal_mm": 50.0, "thickness_mm": 6.0}
    )
    assert off_by_mm(check) == pytest.approx(float(off.replace("−", "-")))
    assert size_verdict(check, METRIC) == (
        f"50.00 mm is {off} mm off. ISO 9013 allows ± 0.25 mm in class 1, ± 0.90 mm in class 2."
    )
    assert size_verdict(Check(measured={}), METRIC) == ""


def test_the_setup_sheet_has_them(nest, plan, sign_in, operator):
    answer = sign_in(operator).get(reverse("setup", args=[nest.pk]))
    text = answer.content.decode()
    assert "ISO 9013:2017" in text
    # the nest is 300 mm long
    assert answer.context["limits"][-1].sizes == "125 mm to below 315 mm"
