"""ISO 9013:2017 limit deviations. Class 1 and class 2 up to 20 mm as read in a copy whose empty
cells were put back from the 2002 table; class 2 above 20 mm from memory of the 2002 edition."""

from __future__ import annotations

import pytest

from planning.calc.tolerance import limit_deviation


@pytest.mark.parametrize(
    ("nominal", "thickness", "tolerance_class", "mm"),
    [
        # Thickness bands include their upper bound.
        (5, 3.15, 1, 0.15),
        (5, 3.1500001, 1, 0.20),
        (5, 6.3, 1, 0.20),
        (5, 6.31, 1, 0.25),
        (5, 10, 1, 0.25),
        (5, 10.1, 1, 0.30),
        # Size bands include their lower bound and not their upper.
        (2.999, 6, 2, 0.7),
        (3, 6, 2, 0.8),
        (9.999, 6, 2, 0.8),
        (10, 6, 2, 0.9),
        (35, 6, 1, 0.25),
        (125, 6, 2, 1.1),
        (315, 6, 2, 1.2),
        (1000, 6, 2, 1.3),
        (2000, 12, 2, 4.2),
        (4000, 20, 2, 4.3),
        (7999, 150, 1, 6.3),
    ],
)
def test_table_and_its_bounds(nominal, thickness, tolerance_class, mm):
    found = limit_deviation(nominal, thickness, tolerance_class)
    assert found is not None
    assert found.mm == mm
    assert found.sure == "read"


def test_what_is_from_memory_says_so():
    found = limit_deviation(50, 30, 2)
    assert found is not None
    assert (found.mm, found.sure) == (1.8, "memory")


@pytest.mark.parametrize(
    ("nominal", "thickness", "tolerance_class"),
    [(2, 8, 1), (2, 8, 2), (5000, 1, 2), (5000, 30, 2), (8000, 6, 1), (50, 151, 1)],
)
def test_an_empty_cell_is_unknown(nominal, thickness, tolerance_class):
    assert limit_deviation(nominal, thickness, tolerance_class) is None


def test_other_classes_and_sizes_are_refused():
    with pytest.raises(ValueError, match="neither 1 nor 2"):
        limit_deviation(50, 6, 3)
    with pytest.raises(ValueError, match="above zero"):
        limit_deviation(0, 6, 1)
