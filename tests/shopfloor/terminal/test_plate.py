"""Another sheet under a run that has begun, by scan and by touch, with and without a network."""

from __future__ import annotations

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def hand(terminal, stage):
    """Somebody at a table where four of twelve plates are burnt."""
    terminal.sign_in()
    terminal.started()
    stage.does("began earlier", minutes=20)
    stage.does("burn", first=1, last=8)
    terminal.sees("4 of 12 base plates")
    return terminal


@pytest.fixture
def size():
    return 1024, 768


def sheets(stage):
    return stage.facts()["sheets"]


def test_the_sheet_the_books_name_is_put_right_by_its_code(hand, stage):
    hand.taps = 0
    hand.tap("Sheet", exact=True)
    hand.sees("Sheet S-1101, rack B1")
    hand.tap("Correct the plate")
    hand.sees("Say which sheet lies there, and why, and since when.")
    hand.taps = 1
    hand.scan(
        "S-1102"
    )  # planned for the nest that comes next: here it is the plate that lies there
    hand.sees("Sheet S-1102")
    hand.tap("another code was scanned")
    hand.tap("From the first contour")
    hand.looked_at("plate-books")
    hand.tap("Correct the plate")
    hand.settled()
    assert hand.taps == 4
    hand.sees("Sheet S-1102, heat 4B-7702")
    hand.sees("Sheet S-1102 was kept for K-2284-2 on North.")
    facts = stage.facts()
    assert facts["runs"] == [["K-2284-1", "open", "S-1102"]]
    assert (sheets(stage)["S-1101"], sheets(stage)["S-1102"]) == ("in_stock", "on_table")
    hand.tap("Undo")
    hand.settled()
    assert stage.facts()["runs"] == [["K-2284-1", "open", "S-1101"]]
    hand.sees("Sheet S-1101, heat 4B-7701")


@pytest.mark.parametrize("size", [(1024, 768), (390, 844)], ids=["tablet", "phone"])
def test_a_plate_changed_in_the_middle_goes_on_where_it_is_told(hand, stage, size):
    hand.tap("Stop")
    hand.tap("Reason later")
    hand.tap("Sheet", exact=True)
    hand.tap("S-1109")
    hand.tap("flaw in the plate")
    hand.tap("From now on")
    assert hand.page.locator("#sheet-contour").input_value() == "9"
    hand.looked_at("plate-changed")
    hand.tap("Correct the plate")
    hand.sees("Say whether what was cut is good.")
    hand.tap("Good", exact=True)
    hand.tap("Correct the plate")
    hand.settled()
    hand.sees("Mark heat 4B-7701 on S-1101")
    hand.sees("0 of 8 base plates")
    facts = stage.facts()
    assert facts["runs"] == [["K-2284-1", "finished", "S-1101"], ["K-2284-1", "open", "S-1109"]]
    assert facts["results"] == [["good", 4, ""]]
    assert facts["queue"]["K-2284-1"] == "running"
    hand.tap("Finish")
    hand.sees("8 parts")
    hand.tap("All good")
    hand.settled()
    assert stage.facts()["results"] == [["good", 4, ""], ["good", 8, ""]]


def test_without_a_network_the_plate_and_the_finish_after_it_wait_their_turn(hand, stage):
    hand.page.context.set_offline(True)
    hand.sees("No connection since")
    hand.tap("Sheet", exact=True)
    hand.scan("S-1109")
    hand.tap("wrong one was lifted")
    hand.tap("From now on")
    hand.tap("Scrap", exact=True)
    hand.page.locator("#sheet-contour").fill("1")
    hand.tap("Correct the plate")
    hand.sees("On sheet S-1109, as entered here.")
    hand.sees("1 entry waits on this tablet")
    hand.tap("Finish")
    hand.tap("All good")
    hand.sees("2 entries wait on this tablet")
    assert len(stage.facts()["runs"]) == 1
    hand.page.context.set_offline(False)
    hand.settled()
    facts = stage.facts()
    assert [[kind, state] for kind, state, _ in facts["actions"][-2:]] == [
        ["swap_sheet", "applied"],
        ["finish", "applied"],
    ]
    assert facts["runs"] == [["K-2284-1", "finished", "S-1101"], ["K-2284-1", "finished", "S-1109"]]
    assert facts["results"] == [["scrap", 4, "plate"], ["good", 12, ""]]


def test_a_sheet_that_is_not_free_is_refused_in_words(hand, stage):
    hand.tap("Sheet", exact=True)
    hand.scan("S-4711")
    hand.tap("wrong one was lifted")
    hand.tap("From the first contour")
    hand.tap("Correct the plate")
    hand.sees("Refused: swapped the sheet")
    hand.sees("There is no sheet 'S-4711'.")
    assert stage.facts()["runs"] == [["K-2284-1", "open", "S-1101"]]
