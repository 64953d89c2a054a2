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


# The tables' figures once more, as sums by thickness: a figure that slips changes its sum.
SUMS = {
    1: (4.525, 5.10, 5.75, 6.40, 7.55, 9.30, 11.50, 14.05, 16.1, 21.0, 26.4),
    2: (5.7, 9.2, 11.4, 13.5, 25.6, 25.6, 16.8, 16.8, 16.8, 19.2, 23.7),
}
THICKNESSES = (1, 3.15, 6.3, 10, 15, 20, 25, 32, 50, 100, 150)


@pytest.mark.parametrize("tolerance_class", [1, 2])
@pytest.mark.parametrize("row", range(11))
def test_the_figures_of_a_thickness_sum_up(tolerance_class, row):
    """Asked for at the upper end of each band, which belongs to it."""
    sizes = (2, 3, 10, 35, 125, 315, 1000, 2000, 4000, 6000)
    found = [limit_deviation(size, THICKNESSES[row], tolerance_class) for size in sizes]
    sums = sum(each.mm for each in found if each is not None)
    assert sums == pytest.approx(SUMS[tolerance_class][row], abs=1e-9)


def test_other_classes_and_sizes_are_refused():
    with pytest.raises(ValueError, match="neither 1 nor 2"):
        limit_deviation(50, 6, 3)
    with pytest.raises(ValueError, match="above zero"):
        limit_deviation(0, 6, 1)
