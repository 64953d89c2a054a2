"""Where keys, questions and the strip stand on a tablet lying down and on a phone."""

from __future__ import annotations

import pytest

from shopfloor.runs.parts import CAUSES

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def size():
    return 1024, 768


ASKS = ("First piece not checked", "without a reason", "delayed entry")
IN_SIGHT = """(key) => {
  const box = key.getBoundingClientRect();
  const inner = [[2, 2], [box.width - 2, 2], [2, box.height - 2], [box.width - 2, box.height - 2]];
  return inner.every(([x, y]) => {
    const top = document.elementFromPoint(box.x + x, box.y + y);
    return key === top || key.contains(top);
  });
}"""


@pytest.fixture
def three_asks(hand, stage):
    """First piece, a stop without a reason, a late entry: all three want an answer."""
    hand.started()
    stage.does("burn", first=1, last=8)
    stage.does("gap")
    stage.does("two counts")
    hand.page.reload()
    for asks in ASKS:
        hand.sees(asks)
    return hand


def test_the_strip_stands_clear_of_the_keys_whatever_else_wants_an_answer(three_asks):
    """Nothing is scrolled, all three ask, and every key of the view can be touched whole."""
    hand = three_asks
    strip = hand.page.locator("[data-view=run] [data-run-strip] svg:visible").bounding_box()
    keys = hand.page.locator("[data-view=run] .acts").bounding_box()
    rows = [row.bounding_box() for row in hand.page.locator("[data-view=run] .row").all()]
    assert hand.page.evaluate("scrollY") == 0
    assert strip["height"] > 0
    assert strip["y"] + strip["height"] <= rows[0]["y"]
    assert len(rows) == 4
    assert all(row["y"] + row["height"] <= keys["y"] for row in rows)
    touched = hand.page.locator("[data-view=run] button:visible").all()
    assert len(touched) == 8
    assert all(key.evaluate(IN_SIGHT) for key in touched)
    hand.looked_at("three-asks")


def test_what_asks_while_nothing_cuts_stands_clear_of_the_keys(three_asks):
    """With a notice above: three starts, a stop without a reason, a late entry."""
    hand = three_asks
    hand.tap("Finish")
    hand.tap("8 not seen cut: they are cut")
    hand.tap("All good")
    hand.settled()
    hand.sees("Saved: finished.")
    hand.sees("Nothing is cutting")
    hand.page.evaluate("scrollTo(0, 0)")
    keys = hand.page.locator("[data-view=idle] button:visible").all()
    assert len(keys) >= 6
    assert all(key.evaluate(IN_SIGHT) for key in keys)
    hand.looked_at("idle-asks")


@pytest.mark.parametrize("size", [(360, 740)])
def test_a_notice_on_a_phone_has_the_width_of_the_screen(hand, size):
    hand.started()
    hand.sees("The sheet was not scanned.")
    assert hand.page.locator("#said-text").bounding_box()["width"] > 300
    hand.looked_at("notice")


@pytest.mark.parametrize("size", [(360, 740)])
def test_on_a_phone_no_key_covers_what_is_read_or_touched(three_asks, size):
    hand = three_asks
    parts = hand.page.locator("[data-view=run] button:visible, [data-view=run] p:visible").all()
    assert len(parts) == 12
    for part in parts:
        part.scroll_into_view_if_needed()
        assert part.evaluate(IN_SIGHT), part.text_content()
    hand.looked_at("three-asks")


def test_why_a_part_is_scrap_stands_clear_of_the_keys_that_finish(hand, stage):
    """Nothing is scrolled: every cause, and every key under them, can be touched whole."""
    hand.started()
    stage.does("burn", first=1, last=8)
    hand.page.reload()
    hand.tap("Finish")
    hand.sees("not seen cut: left uncut")  # the run's own map has taken the nest's place
    hand.page.locator("[data-screen=finish] .parts .key-btn").first.tap()
    hand.sees("Why scrap")
    touched = hand.page.locator("[data-screen=finish] .side .key-btn:visible").all()
    assert len(touched) == 3 + len(CAUSES) + 4
    assert hand.page.evaluate("scrollY") == 0
    assert all(key.evaluate(IN_SIGHT) for key in touched)
    hand.looked_at("finish-why")
