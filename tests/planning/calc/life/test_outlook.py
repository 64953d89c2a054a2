from __future__ import annotations

import pytest

from planning.calc.life.learned import PieceRecord, ended_by_wear, learn
from planning.calc.life.outlook import Inspected, piece_view
from planning.calc.life.pit import Reading
from planning.calc.life.records import Life
from planning.calc.said import to_reader

ENDED = [PieceRecord(n, Life(age, True)) for n, age in enumerate((480, 560, 600, 640, 720), 1)]


def _view(records=(), rated=600, **more):
    given = {"piece": 99, "starts": 300, "arc_s": 4000.0} | more
    return piece_view(learned=learn(records, rated, 1.6), **given)


@pytest.mark.parametrize(
    "seen",
    [
        Inspected(300, 1.6),  # common practice, no source: due at about 1/16 in of pit
        Inspected(300, None, False),
        Inspected(None, 1.7),
    ],
)
def test_what_an_inspection_says_stands_whatever_the_model_says(seen):
    found = _view(ENDED, inspections=[seen], starts=None if seen.starts is None else 20)
    assert (found.due, found.starts_left) == ("due", 0)
    later = Inspected(310, 0.4, True)
    assert _view(ENDED, inspections=[seen, later], starts=310).due != "due"


def test_the_rated_life_decides_only_while_it_is_all_there_is():
    assert _view(starts=600).due == "due"
    assert _view(ENDED, starts=640).due == "soon"
    assert _view(ENDED, starts=640).starts_left > 0


def test_a_new_shop_goes_by_the_rated_life_with_a_wide_range():
    found = _view(starts=100)
    assert found.due == "no"
    assert 300 < found.starts_left < 600
    assert found.left_low < found.starts_left / 2
    assert "rated 600 starts; 0 like it have ended, 3 needed" in found.basis


def test_pieces_that_ended_narrow_it_and_are_counted():
    new, known = _view(starts=100), _view(ENDED, starts=100)
    assert known.left_high - known.left_low < (new.left_high - new.left_low) * 0.7
    assert known.basis.startswith("5 like it have ended; they last ")
    assert known.rests_on["mean"] == pytest.approx(600, rel=0.05)  # their mean

    assert known.rests_on["ends"] == 5


def test_its_own_pit_says_most():
    """0.9 mm after 300 starts, 0.6 after 200: 1.6 mm at 533 starts."""
    pits = [Inspected(200, 0.6, None, 2600.0), Inspected(300, 0.9, None, 4000.0)]
    found = _view(inspections=pits)
    assert found.starts_left == pytest.approx(233, abs=20)
    assert found.left_low < 233 < found.left_high
    assert "pit 0.9 mm after 2 inspections, limit 1.6 mm" in found.basis
    assert "pit 0.035 in after 2 inspections" in to_reader(found.basis, inch=True)


def test_unknown_is_said_where_nothing_can_be_known():
    assert _view(ENDED, starts=None).due == "unknown"
    found = _view(ENDED[:2], rated=None)
    assert (found.due, found.starts_left) == ("unknown", None)
    # its own pit is enough
    assert _view(rated=None, inspections=[Inspected(250, 0.8, None, 900.0)]).starts_left > 100
    assert _view(ENDED, out=True).starts_left is None


def test_a_piece_does_not_teach_of_itself():
    own = PieceRecord(99, Life(5_000, False))
    assert _view([*ENDED, own]).starts_left == _view(ENDED).starts_left


@pytest.mark.parametrize(
    ("state", "cause", "collateral", "pit", "ended"),
    [
        ("failed", "", False, None, True),
        ("failed", "nick", True, None, False),
        ("retired", "pit", False, None, True),
        ("retired", "", False, 1.5, True),
        ("retired", "", False, 1.0, False),
        ("retired", "pit", True, 1.5, False),  # went with its partner
        ("crashed", "", False, 1.5, False),
        ("lost", "", False, None, False),
        ("shelved", "", False, 1.6, False),
    ],
)
def test_only_its_own_wear_ends_a_piece(state, cause, collateral, pit, ended):
    said = ended_by_wear(
        state=state, cause=cause, collateral=collateral, last_pit_mm=pit, limit_mm=1.6
    )
    assert said is ended


def test_pits_of_pieces_that_ended_are_learned_from():
    records = [
        PieceRecord(n, Life(500.0, True), (Reading(250, 3000, 0.9), Reading(400, 5000, 1.4)))
        for n in range(12)
    ]
    learned = learn(records, 600, 1.6)
    assert learned.scatter.pieces == 12
    told = learned.pit_says([Reading(100, 1200, 0.36)])
    assert told.age == pytest.approx(100 / 0.36 * 1.6 * 500 / 451, rel=0.05)
