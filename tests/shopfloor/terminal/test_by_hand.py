"""A badge typed by hand, keys of a keyboard, and a scan after a start was taken back."""

from __future__ import annotations

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def size():
    return 1024, 768


def test_a_badge_typed_by_hand_is_no_pin(terminal):
    hand = terminal
    hand.open()
    hand.page.keyboard.type("B-milo7", delay=200)
    assert hand.page.locator("#badge").input_value() == "B-milo7"
    assert hand.page.locator("#pin").input_value() == ""
    hand.page.keyboard.press("Enter")
    hand.sees("Badge read. Now the PIN.")
    hand.page.keyboard.type("42", delay=200)
    assert hand.page.locator("#pin").input_value() == "42"


def test_space_and_enter_reach_check_boxes(hand):
    hand.settled()
    hand.touch(hand.page.locator("[data-go=change]:visible").first)
    box = hand.page.locator("[data-screen=change] input[data-old]").first
    for key in ("Space", "Enter"):
        before = box.is_checked()
        box.focus()
        hand.page.keyboard.press(key)
        assert box.is_checked() is not before, key


def test_after_a_start_is_taken_back_a_scan_opens_the_first_of_its_job(hand, stage):
    """Both nests of K-2284 bear the job's code; the first in the list is meant."""
    hand.tap("K-2284, nest 1 of 2")
    hand.tap("Start")
    hand.settled()
    hand.sees("Cutting now")
    hand.tap("Undo")
    hand.settled()
    hand.sees("Nothing is cutting")
    hand.until(lambda: hand.page.get_by_text("K-2284, nest 1 of 2").locator("visible=true").count())
    hand.scan("K-2284")
    hand.until(lambda: hand.page.locator("[data-screen^=start-]:not([hidden]) .job").count() == 1)
    shown = hand.page.locator("[data-screen^=start-]:not([hidden]) .job").text_content()
    assert shown.startswith("K-2284, nest 1 of 2")


IN_SIGHT = """(key) => {
  const box = key.getBoundingClientRect();
  const top = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
  return key === top || key.contains(top);
}"""


def test_no_key_hides_behind_the_three_that_stay(hand, stage):
    """With a notice and a first piece to check, as after each start of a new nest."""
    hand.started()
    stage.does("burn", first=1, last=8)
    hand.sees("First piece not checked.")
    for go in ("check", "restart", "sheet", "finish", "change"):
        key = hand.page.locator(f"[data-screen=main] .main [data-go={go}]:visible").first
        assert key.evaluate(IN_SIGHT), go
