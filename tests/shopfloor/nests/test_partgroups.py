"""Which contours make a part; pure."""

from __future__ import annotations

from shopfloor.nests.part_groups import Shape, groups_of


def test_copies_differ_by_less_than_a_program_rounds():
    shapes = [Shape(1, 1, 400.0, 10_000.0), Shape(2, 2, 400.05, 10_000.9)]
    assert [group.parts for group in groups_of(shapes)] == [((1,), (2,))]


def test_another_hole_is_another_part():
    shapes = [
        Shape(1, 2, 60.0, None),
        Shape(2, 2, 400.0, 9_700.0),
        Shape(3, 3, 400.0, 10_000.0),
        Shape(4, 5, 50.0, None),
        Shape(5, 5, 400.0, 9_700.0),
    ]
    assert [group.parts for group in groups_of(shapes)] == [((2, 1),), ((3,),), ((5, 4),)]


def test_an_open_cut_is_no_copy_of_a_closed_one():
    shapes = [Shape(1, 1, 400.0, 10_000.0), Shape(2, 2, 400.0, None)]
    assert len(groups_of(shapes)) == 2
