from __future__ import annotations

from dataclasses import replace

import pytest

from planning.calc.edge import PredictedU
from planning.calc.squareness import FineCut, metres_by_standing, per_tenth_mm

WELL = PredictedU(0.30, 0.22, 0.40, 12, 5, "checks")  # at 6 mm range 3 ends at 0.460
CUT = FineCut(
    metres=100.0, thickness_mm=6.0, asked=None, must_be_fine=False, fast=True, u=WELL,
    fine_minor=92.0, fast_minor=55.0, fine_h=0.012, fast_h=0.007,
)  # fmt: skip


def test_metres_nobody_asked_for_cost_the_difference():
    # 100 m x (0.92 - 0.55) = 37.00; 100 x 0.005 h = 0.5 h
    assert (CUT.standing, CUT.more_minor) == ("not asked for", pytest.approx(3700))
    assert CUT.more_h == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("more", "standing"),
    [
        ({"asked": 3}, "not asked for"),  # 0.40 is inside 0.460
        ({"asked": 2}, "asked for"),  # 0.30 is outside 0.192
        ({"asked": 3, "u": replace(WELL, high_mm=0.50)}, "asked for"),
        ({"asked": 3, "u": PredictedU(0.3, None, None, 2, 5, "chart")}, "not enough checks"),
        ({"must_be_fine": True}, "asked for"),
        ({"fast": False}, "no fast route"),
        ({"fast_minor": None}, "unpriced"),
        ({"fast_minor": 95.0}, "fine was cheaper"),  # with the grinding that fast leaves
    ],
)
def test_what_speaks_for_fine(more, standing):
    assert replace(CUT, **more).standing == standing


def test_every_metre_has_one_standing():
    cuts = [CUT, replace(CUT, asked=2, metres=7.0), replace(CUT, metres=3.0)]
    assert metres_by_standing(cuts) == {"not asked for": 103.0, "asked for": 7.0}


def test_a_tenth_of_a_millimetre_has_its_price():
    # 0.37 a metre for 0.15 mm of u: 0.2467 for each 0.1 mm
    assert per_tenth_mm(92.0, 55.0, 0.15, 0.30) == pytest.approx(24.6667, abs=1e-3)
    assert per_tenth_mm(92.0, 55.0, 0.30, 0.30) is None
