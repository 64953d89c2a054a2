from __future__ import annotations

import pytest

from planning.calc.student import student_t


def test_student_quantiles_match_the_table():
    """Student's t, 90 % one-sided, printed in every statistics textbook: 1.533 (4), 1.440 (6),
    1.372 (10), 1.310 (30); here with three more digits."""
    for freedom, value in ((4, 1.533206), (6, 1.439756), (10, 1.372184), (30, 1.310415)):
        assert student_t(0.9, freedom) == pytest.approx(value, rel=3e-4)
