from __future__ import annotations

import pytest

from dashboards.ledgers import wear
from planning.calc.said import stored
from tests.dashboards import made

FITTED = (
    "piece_id label table torch torch_id wear_set duty kind fitted_at starts arc_s pit_mm "
    "starts_left left_low left_high due basis price_minor charged_minor"
)


def row(piece, table, kind, *, torch_id=1, starts=100, left=100, due="no"):
    return (
        piece, f"P-{piece}", table, "1", torch_id, "fast 120 A", "fast", kind, None, starts, 60.0,
        None, left, None, None, due, stored("rated 200 starts"), 1400, 700,
    )  # fmt: skip


def test_pieces_stand_in_the_order_they_sit_in_the_torch():
    rows = [row(1, "South", "shield"), row(2, "South", "electrode"), row(3, "South", "swirl_ring")]
    [torch] = wear.torches(made.frame(FITTED, rows))
    assert [piece.kind for piece in torch.pieces] == ["electrode", "swirl ring", "shield"]


def test_the_piece_to_look_at_is_the_one_that_is_due_first():
    rows = [
        row(1, "South", "electrode", left=40),
        row(2, "South", "nozzle", left=9, due="soon"),
        row(3, "South", "shield", left=None, due="unknown"),
    ]
    [torch] = wear.torches(made.frame(FITTED, rows))
    assert torch.urgent.piece_id == 2


@pytest.mark.parametrize(
    ("starts", "left", "used"), [(150, 50, 0.75), (150, -5, 1.0), (0, 0, 1.0), (None, 5, None)]
)
def test_used_is_a_share_of_what_it_is_expected_to_last(starts, left, used):
    [torch] = wear.torches(made.frame(FITTED, [row(1, "N", "nozzle", starts=starts, left=left)]))
    assert torch.pieces[0].used == used


def test_a_life_nobody_knows_is_not_a_used_up_one():
    [torch] = wear.torches(made.frame(FITTED, [row(1, "N", "nozzle", left=None, due="unknown")]))
    assert torch.pieces[0].used is None


def test_no_piece_fitted_is_no_torch():
    assert wear.torches(made.frame(FITTED, [])) == []
