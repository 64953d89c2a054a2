"""The network goes away in the middle of the work, and comes back."""

from __future__ import annotations

import re
import uuid
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


MAPS = """performance.getEntriesByType('resource')
  .filter((entry) => entry.name.includes('/map/')).length"""


@pytest.fixture
def size():
    return 1024, 768


def test_what_is_entered_without_a_network_is_delivered_once_and_in_order(terminal, stage):
    hand = terminal
    hand.sign_in()
    hand.until(lambda: hand.page.evaluate(MAPS) >= 6)  # two of each of the three next
    hand.page.context.set_offline(True)
    hand.sees("No connection since")

    hand.tap("K-2284, nest 1 of 2")
    hand.scan("S-1101")
    hand.tap("Start")
    hand.sees("Cutting now")
    hand.tap("Stop")
    hand.tap("No sheet")
    hand.sees("No sheet")
    hand.tap("Cutting again")
    hand.tap("Finish")
    hand.sees("12 parts, close this run")  # the map came while there was a network
    hand.touch(hand.page.locator('[data-map=finish] button[data-contour="2"]'))
    hand.tap("bevel")
    hand.tap("11 good, 1 marked")
    hand.sees("Carry on: 5 entries wait on this tablet and go in later.")
    hand.sees("Nothing is cutting")
    assert hand.page.get_by_text("K-2284, nest 1 of 2").locator("visible=true").count() == 0
    hand.looked_at("offline")
    assert stage.facts()["actions"] == []

    hand.page.context.set_offline(False)
    hand.settled(20)
    facts = stage.facts()
    assert [kind for kind, _, _ in facts["actions"]] == [
        "start",
        "stop",
        "stop",
        "resume",
        "finish",
    ]
    assert {state for _, state, _ in facts["actions"]} == {"applied"}
    assert facts["runs"] == [["K-2284-1", "finished", "S-1101"]]
    assert facts["results"] == [["good", 11, ""], ["scrap", 1, "bevel"]]
    assert facts["stoppages"] == [["no-sheet", True]]
    hand.until(lambda: hand.page.locator("#offline").is_hidden())


def test_an_answer_lost_on_the_way_back_does_not_apply_an_entry_twice(terminal, stage):
    hand = terminal
    hand.sign_in()
    hand.tap("K-2284, nest 1 of 2")
    lost = []

    def swallow(route):
        if not lost:
            lost.append(route.fetch().status)  # it arrives, its answer does not
            route.abort()
        else:
            route.continue_()

    hand.page.route("**/actions", swallow)
    hand.tap("Start")
    hand.settled(20)
    assert lost == [200]
    assert len(stage.facts()["runs"]) == 1
    assert [kind for kind, _, _ in stage.facts()["actions"]] == ["start"]


def test_what_waits_survives_the_page_and_the_next_person(terminal, stage):
    hand = terminal
    hand.sign_in()
    hand.page.route("**/actions", lambda route: route.abort())
    hand.tap("K-2284, nest 1 of 2")
    hand.tap("Start")
    hand.sees("1 entry waits")
    hand.page.unroute("**/actions")
    hand.page.route("**/floor/north/state*", lambda route: route.abort())
    hand.page.evaluate("document.getElementById('sign-out').submit()")
    hand.page.locator("#signin").wait_for()
    hand.until(lambda: stage.facts()["actions"] != [])
    assert stage.facts()["runs"] == [["K-2284-1", "open", "S-1101"]]


def test_two_people_who_finish_the_same_sheet_are_both_kept(terminal, stage):
    hand = terminal
    hand.sign_in()
    hand.tap("K-2284, nest 1 of 2")
    hand.tap("Start")
    hand.settled()
    hand.sees("0 of 12 base plates")
    hand.page.context.set_offline(True)
    hand.tap("Finish")
    hand.tap("All good")
    hand.sees("1 entry waits")
    stage.does("closed at the desk")
    hand.page.context.set_offline(False)
    hand.settled(20)
    hand.sees("Both are kept.")
    hand.tap("Look")
    hand.sees("K-2284 base plate: 12 good")
    hand.looked_at("conflict")
    assert [state for kind, state, _ in stage.facts()["actions"] if kind == "finish"] == [
        "conflict"
    ]


def test_ids_are_random_uuids_where_the_page_is_not_a_secure_context(terminal):
    hand = terminal
    hand.sign_in()
    found = hand.page.evaluate(
        """async () => {
          const { newId } = await import('/static/kerfbook/floor/outbox.js');
          Object.defineProperty(crypto, 'randomUUID', { value: undefined });
          return Array.from({ length: 200 }, newId);
        }"""
    )
    assert len(set(found)) == 200
    assert {uuid.UUID(one).version for one in found} == {4}


CLOCK_SET = """(aheadS) => {
  const Real = Date, ahead = aheadS * 1000;
  window.Date = class extends Real {
    constructor(...said) { if (said.length) super(...said); else super(Real.now() + ahead); }
    static now() { return Real.now() + ahead; }
  };
}"""
SIX_HOURS_S = 6 * 3600


def test_a_clock_that_is_set_while_entries_wait_moves_none_of_them(terminal, stage):
    """The tablet's clock jumps 200 s ahead between the stop and its delivery."""
    hand = terminal
    hand.sign_in()
    hand.started()
    hand.page.context.set_offline(True)
    hand.sees("No connection since")
    hand.tap("Stop")
    hand.page.evaluate(CLOCK_SET, 200)
    hand.page.context.set_offline(False)
    hand.settled(20)
    ago_s, state = stage.does("last entry")["last"]
    assert state == "applied"
    assert 0 <= ago_s < 120


@pytest.mark.parametrize("jump_s", [SIX_HOURS_S, -SIX_HOURS_S])
def test_a_clock_that_jumps_signs_nobody_out_and_takes_no_mark_away(terminal, stage, jump_s):
    hand = terminal
    hand.sign_in()
    hand.started()
    hand.tap("Finish")
    hand.sees("12 parts, close this run")
    hand.page.context.set_offline(True)
    hand.sees("No connection since")
    hand.touch(hand.page.locator('[data-map=finish] button[data-contour="2"]'))
    hand.page.evaluate(CLOCK_SET, jump_s)
    hand.page.context.set_offline(False)
    hand.until(lambda: hand.page.locator("#offline").is_hidden())
    hand.page.wait_for_timeout(2500)  # longer than the page looks whether anybody is there
    hand.tap("bevel")
    hand.tap("11 good, 1 marked")
    hand.settled(20)
    facts = stage.facts()
    assert facts["results"] == [["good", 11, ""], ["scrap", 1, "bevel"]]
    assert {state for _, state, _ in facts["actions"]} == {"applied"}
    hand.sees("Nothing is cutting")
    hand.sees("K-2284, nest 2 of 2")


def test_all_times_on_a_screen_are_the_shops_whatever_the_tablet_says(terminal, stage):
    """A tablet that is set two hours ahead: its own time stands nowhere."""
    hand = terminal
    hand.page.add_init_script(f"({CLOCK_SET})(7200)")
    hand.open()
    assert hand.page.locator("#clock").text_content() in shop_minutes()
    hand.sign_in()
    hand.started()
    hand.until(lambda: hand.page.locator("#clock").text_content() in shop_minutes())
    hand.page.context.set_offline(True)
    hand.sees("No connection since")
    hand.tap("Stop")
    times = set(re.findall(r"\d\d:\d\d(?!:)", hand.page.locator("body").inner_text()))
    assert times
    assert times <= shop_minutes(back=3)


def shop_minutes(back: int = 1) -> set[str]:
    now = datetime.now(ZoneInfo("America/Chicago"))
    return {f"{now - timedelta(minutes=ago):%H:%M}" for ago in range(back + 1)}
