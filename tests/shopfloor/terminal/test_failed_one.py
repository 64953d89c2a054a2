"""Two parts come out for one failure: the screen says which one failed."""

from __future__ import annotations

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def size():
    return 1280, 800


def test_of_two_that_come_out_the_one_the_cause_shows_on_failed(hand, stage):
    hand.settled()
    hand.touch(hand.page.locator("[data-go=change]:visible").first)
    change = hand.page.locator("[data-screen=change]")
    for kind in ("electrode", "nozzle"):
        change.locator(f"label:has([data-old][data-kind={kind}])").click()
    hand.tap("It failed, or something else")
    assert not change.locator("[data-failed-one]").is_visible()
    change.locator("label:has([name=state][value=failed])").click()
    change.locator("label:has([name=cause][value=double_arc])").click()
    hand.sees("Which one failed?")
    assert change.locator("[name=failed_one]:checked").get_attribute("data-kind") == "nozzle"
    assert change.locator("[data-failed-one] label:visible").count() == 2
    hand.looked_at("failed-one")
    hand.touch(change.locator("[data-changed]"))
    hand.settled()
    told = {
        payload["old"]: payload
        for kind, state, payload in stage.facts()["actions"]
        if kind == "change_piece" and state == "applied"
    }
    assert {label: one.get("collateral", False) for label, one in told.items()} == {
        "FA-EL-1": True,
        "FA-NO-1": False,
    }
    assert {(one["state"], one["cause"]) for one in told.values()} == {("failed", "double_arc")}
    assert len({one["incident"] for one in told.values()}) == 1
