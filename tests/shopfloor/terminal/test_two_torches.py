"""A table with two torches: what is said and asked of the set is that of the torch that cuts."""

from __future__ import annotations

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def size():
    return 1024, 768


def test_a_start_checks_the_set_of_the_torch_it_names(hand, stage):
    """K-2297 wants the fine set, which is in the second torch; the first has the fast one."""
    stage.does("second torch")
    hand.sees("Set in the torch 2")
    hand.sees("fine 45 A, in torch 2")
    hand.tap("K-2297")
    hand.tap("Start")
    hand.sees("Say which torch cuts it.")
    hand.tap("Torch 1")
    hand.sees("this nest wants fine 45 A")
    hand.sees("Change the set first")
    hand.tap("Torch 2")
    hand.sees("right for this nest")
    assert hand.page.get_by_text("Change the set first").locator("visible=true").count() == 0
    hand.looked_at("torch-2")
    hand.tap("Start")
    hand.settled()
    facts = stage.facts()
    assert [kind for kind, _, _ in facts["actions"]] == ["start"]  # no note that a set was kept
    assert facts["torches"] == ["2"]
    side = hand.page.locator("[data-screen=main] .side")
    hand.sees("right for this nest")
    assert side.get_by_text("this nest wants").count() == 0  # nothing is asked of the first torch


def test_a_wrong_set_in_the_second_torch_is_kept_with_a_reason(hand, stage):
    """K-2284 wants the fast set, which is in the first torch."""
    stage.does("second torch")
    hand.sees("Set in the torch 2")
    hand.tap("K-2284, nest 1 of 2")
    hand.tap("Torch 2")
    hand.tap("Go on with fine 45 A")
    hand.tap("Start")
    hand.sees("Say why the set stays.")
    hand.tap("rush, cut it anyway")
    hand.tap("Start")
    hand.settled()
    assert stage.facts()["torches"] == ["2"]
    kinds = [(kind, payload.get("text")) for kind, _, payload in stage.facts()["actions"]]
    assert kinds == [("start", None), ("note", "Set kept: rush, cut it anyway")]


def test_a_tray_that_goes_into_the_second_torch_is_right_there_without_a_network(hand, stage):
    stage.does("second torch")
    hand.sees("Set in the torch 2")
    hand.page.context.set_offline(True)
    hand.sees("No connection since")
    hand.tap("K-2297")
    hand.tap("Torch 1")
    hand.tap("Change the set first")
    hand.tap("Tray T-fine into torch 1")
    assert hand.page.locator("[data-torch-set]").all_text_contents() == ["fine 45 A", "fine 45 A"]
    hand.tap("K-2284, nest 1 of 2")
    hand.tap("Torch 2")
    hand.sees("this nest wants fast 120 A")
