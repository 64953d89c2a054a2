"""Starting a nest the rarer ways: another sheet, another set, by scan, over one that is open."""

from __future__ import annotations

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def size():
    return 1024, 768


def test_another_sheet_than_planned_asks_why(hand, stage):
    hand.tap("K-2284, nest 1 of 2")
    hand.scan("S-1109")
    hand.sees("Planned was S-1101.")
    hand.sees("on sheet S-1109")
    hand.looked_at("swap")
    hand.tap("Start")
    hand.sees("Say why another sheet is taken.")
    assert stage.facts()["runs"] == []
    hand.tap("planned one damaged")
    hand.tap("Start")
    hand.settled()
    facts = stage.facts()
    assert facts["runs"] == [["K-2284-1", "open", "S-1109"]]
    assert facts["actions"][0][2]["swap_reason"] == "planned one damaged"


def test_a_sheet_nobody_knows_is_asked_for_again(hand, stage):
    hand.tap("K-2284, nest 1 of 2")
    hand.scan("S-9999")
    hand.tap("planned one buried")
    hand.tap("Start")
    hand.sees("Refused: started")
    hand.sees("There is no sheet 'S-9999'.")
    hand.sees("Sheet S-9999")
    assert stage.facts()["runs"] == []


def test_the_wrong_set_is_changed_or_kept_with_a_reason(hand, stage):
    hand.tap("K-2297")
    hand.sees("this nest wants fine 45 A")
    hand.sees("This metal holds chromium")
    hand.looked_at("wrong-set")
    hand.tap("Go on with fast 120 A")
    hand.tap("Start")
    hand.sees("Say why the set stays.")
    hand.tap("rush, cut it anyway")
    hand.looked_at("keep-set")
    hand.tap("Start")
    hand.settled()
    kinds = [(kind, payload.get("text")) for kind, _, payload in stage.facts()["actions"]]
    assert kinds == [("start", None), ("note", "Set kept: rush, cut it anyway")]


def test_the_set_changed_first_is_right_at_once_even_without_a_network(hand, stage):
    hand.page.context.set_offline(True)
    hand.sees("No connection since")
    hand.tap("K-2297")
    hand.tap("Change the set first")
    hand.tap("Tray T-fine")
    hand.tap("K-2297")
    hand.tap("Start")
    hand.sees("2 entries wait")
    hand.page.context.set_offline(False)
    hand.settled(20)
    facts = stage.facts()
    assert [state for _, state, _ in facts["actions"]] == ["applied", "applied"]
    assert facts["fitted"] == ["FI-EL-1", "FI-NO-1", "FI-RE-1", "FI-SH-1", "FI-SW-1"]


def test_a_scanned_traveler_opens_its_start_and_a_scanned_tray_its_change(hand, stage):
    hand.scan("K-2297")
    hand.sees("this nest wants fine 45 A")
    hand.scan("T-fine")
    hand.sees("Before your hands go near")
    hand.scan("T-fine")
    hand.settled()
    hand.until(lambda: stage.facts()["fitted"][0] == "FI-EL-1")


def test_a_nest_that_moved_up_the_list_can_be_touched(hand, stage):
    stage.does("queue", nest="K-2284-1", sheet="S-1109")
    hand.sees("1 more waits in the queue.")
    hand.tap("K-2297")
    hand.tap("Go on with fast 120 A")
    hand.tap("rush, cut it anyway")
    hand.tap("Start")
    hand.settled()
    hand.tap("Finish")
    hand.tap("All good")
    hand.settled()
    hand.touch(hand.page.locator(".starts button").nth(2))
    hand.sees("Sheet S-1109")
    hand.tap("Start")
    hand.settled()
    assert stage.facts()["runs"][-1] == ["K-2284-1", "open", "S-1109"]


@pytest.mark.parametrize("code", ["K-2306", "K-2306-1", "k-2306-1", "S-1127"])
def test_what_is_far_down_the_list_starts_by_its_traveler_its_nest_or_its_sheet(hand, stage, code):
    """Three are on show; seven wait, and the one scanned is the last of them, on sheet
    S-1120 + 7."""
    stage.does("more jobs", numbers=["K-2303", "K-2304", "K-2305", "K-2306"])
    hand.sees("4 more wait in the queue.")
    hand.taps = 0
    hand.scan(code)
    hand.sees("Sheet S-1127")
    assert hand.page.get_by_text("K-2306").locator("visible=true").count() >= 1
    hand.scan("S-1127")
    hand.tap("Start")
    hand.settled()
    assert hand.taps == 1
    assert stage.facts()["runs"] == [["K-2306-1", "open", "S-1127"]]
    assert stage.facts()["queue"] == {"K-2306-1": "running"} | dict.fromkeys(
        ["K-2284-1", "K-2284-2", "K-2297-1", "K-2303-1", "K-2304-1", "K-2305-1"], "waiting"
    )


def test_a_half_burnt_sheet_comes_first_on_the_list_and_goes_on(hand, stage):
    hand.started()
    stage.does("began earlier", minutes=20)
    stage.does("burn", first=1, last=8)
    hand.sees("4 of 12 base plates")
    hand.tap("K-2284, nest 2 of 2")
    hand.tap("Rush job")
    hand.tap("Start")
    hand.settled()
    hand.tap("Finish")
    hand.tap("All good")
    hand.settled()
    hand.taps = 0
    hand.sees("Half burnt sheet S-1101")
    hand.looked_at("half-burnt")
    hand.touch(hand.page.locator(".starts button").first)
    hand.sees("Half burnt: 4 of 12 base plates, set aside since")
    hand.tap("Start")
    hand.settled()
    assert hand.taps == 2
    facts = stage.facts()
    assert [run[:2] for run in facts["runs"]] == [["K-2284-1", "open"], ["K-2284-2", "finished"]]
    assert [first for first, _ in facts["segments"]] == [1, 9, 1]


def test_starting_over_an_open_run_asks_why_it_is_set_aside(hand, stage):
    hand.started()
    hand.tap("K-2284, nest 2 of 2")
    hand.tap("Start")
    hand.sees("Say why the open run is set aside.")
    hand.tap("Rush job")
    hand.looked_at("aside")
    hand.tap("Start")
    hand.settled()
    assert [run[:2] for run in stage.facts()["runs"]] == [
        ["K-2284-1", "stopped"],
        ["K-2284-2", "open"],
    ]


def test_a_finish_means_the_run_just_started_while_a_finger_holds_its_state_back(hand, stage):
    """A new state waits while the screen is touched: until then what was entered counts."""
    hand.started()
    stage.does("burn", first=1, last=8)
    hand.sees("4 of 12 base plates")
    before = hand.page.locator("#running").get_attribute("data-run")
    hand.tap("K-2284, nest 2 of 2")
    hand.tap("Rush job")
    hand.tap("Start")
    hand.page.evaluate("document.dispatchEvent(new Event('pointerdown'))")
    hand.settled()
    with hand.page.expect_response(lambda reply: "/state?" in reply.url and reply.status == 200):
        pass
    hand.page.wait_for_timeout(100)
    assert hand.page.locator("#running").get_attribute("data-run") == before
    for key in ("[data-go=finish]", "[data-finish]"):
        hand.page.locator(key).locator("visible=true").first.evaluate("key => key.click()")
    hand.page.evaluate("document.dispatchEvent(new Event('pointerup'))")
    hand.settled()
    assert [run[:2] for run in stage.facts()["runs"]] == [
        ["K-2284-1", "stopped"],
        ["K-2284-2", "finished"],
    ]
