"""Which contours make a part; pure."""

from __future__ import annotations

from shopfloor.nests.part_groups import Shape, groups_of, outlines


def test_a_part_inside_a_hole_is_a_part_again():
    # 1 lies in 2, 2 in 3: 3 is an outline, 2 its hole, 1 a part in the hole's slug.
    assert outlines([2, 3, None]) == [1, 3, 3]


def test_a_hole_in_the_part_in_the_hole_belongs_to_that_part():
    assert outlines([2, 3, 4, None]) == [2, 2, 4, 4]


def test_contours_that_contain_each_other_end():
    assert outlines([2, 1]) == [2, 1]


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
