"""What the screens say and offer in corners that are seldom looked into."""

from __future__ import annotations

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def size():
    return 1024, 768


@pytest.fixture
def hand(terminal):
    terminal.sign_in()
    terminal.started()
    return terminal


def test_it_did_not_stop_takes_back_a_stop_and_nothing_else(hand, stage):
    hand.tap("Stop")
    hand.sees("it did not stop")
    hand.tap("Reason later")
    hand.tap("Air")
    hand.touch(hand.page.get_by_label("6 bar, water drained"))
    hand.settled()
    hand.tap("Say why")
    assert not hand.page.get_by_text("it did not stop").is_visible()
    hand.tap("Reason later")
    hand.tap("Undo")  # the air
    hand.settled()
    hand.tap("Say why")
    hand.sees("it did not stop")
    hand.tap("it did not stop")
    hand.settled()
    hand.sees("Cutting now")
    assert [[kind, state] for kind, state, _ in stage.facts()["actions"]] == [
        ["start", "applied"],
        ["stop", "undone"],
        ["air", "undone"],
        ["undo", "applied"],
        ["undo", "applied"],
    ]


def test_whoever_hands_over_is_not_among_those_who_take_over(hand):
    hand.tap("Hand over")
    hand.sees("Hand over: who takes it on?")
    names = hand.page.locator(".people").inner_text()
    assert "Dana Okell" in names
    assert "Milo Brandt" not in names
    hand.tap("Dana Okell")
    for figure in "1111":
        hand.tap(figure)
    hand.tap("Sign in")
    hand.sees("That PIN is not right.")
    assert "Milo Brandt" not in hand.page.locator(".people").inner_text()


def test_another_sheet_s_heat_is_not_the_planned_one_s(hand):
    hand.tap("K-2284, nest 2 of 2")
    hand.sees("K-2284, nest 1 of 2 on sheet S-1101 is still open")
    hand.sees("Mark heat 4B-7702 on what stays")
    hand.scan("S-1109")
    hand.sees("Mark the heat of sheet S-1109 on what stays")
    assert not hand.page.get_by_text("4B-7702").locator("visible=true").count()
    hand.scan("S-1102")
    hand.sees("Mark heat 4B-7702 on what stays")


def test_finish_says_what_the_signal_did_not_see(hand, stage):
    hand.tap("Finish")
    hand.sees("The signal saw none of them cut.")
    hand.tap("Back")
    stage.does("began earlier", minutes=20)
    stage.does("burn", first=1, last=8)
    hand.sees("4 of 12 base plates")
    hand.tap("Finish")
    hand.sees("The signal saw 4 of 12 cut.")
    hand.tap("8 not seen cut: left uncut")
    assert not hand.page.get_by_text("The signal saw").locator("visible=true").count()
    hand.tap("Back")
    stage.does("burn", first=9, last=24)
    hand.sees("12 of 12 base plates")
    hand.tap("Finish")
    hand.sees("12 parts, close this run")
    hand.until(lambda: not hand.page.get_by_text("The signal saw").locator("visible=true").count())


def test_what_was_written_over_the_page_goes_once_the_server_knows(hand, stage):
    """The note of an offline start or swap must not outlive the entry."""
    hand.tap("Sheet", exact=True)
    hand.scan("S-1109")
    hand.tap("wrong one was lifted")
    hand.tap("From the first contour")
    hand.tap("Correct the plate")
    hand.settled()
    hand.sees("Sheet S-1109, heat 4B-7709.")
    assert not hand.page.get_by_text("as entered here").count()


@pytest.mark.parametrize("screen", ["finish", "restart"])
def test_numbers_on_a_map_can_be_read_at_arm_s_length(hand, screen):
    """14 px is our own floor for a figure that only repeats what a key beside it says."""
    hand.tap("Finish" if screen == "finish" else "Restart")
    box = f"[data-map={screen}] svg"
    hand.page.locator(f"{box} text").first.wait_for()
    sizes = hand.page.evaluate(
        f"""() => {{ const svg = document.querySelector('{box}');
          const shown = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
          return [...svg.querySelectorAll('text')]
            .map((t) => parseFloat(t.style.fontSize) * shown) }}"""
    )
    assert sizes
    assert min(sizes) >= 12
    assert max(sizes) >= 14


def test_a_refusal_goes_once_the_same_is_entered_right(hand):
    """Else the finish that was saved hides behind "Refused: finished"."""
    hand.tap("Finish")
    hand.tap("A remnant is left")
    for name, size in (("length_mm", "99999"), ("width_mm", "99999")):
        hand.page.fill(f"[name={name}]:visible", size)
    hand.touch(hand.page.locator("[data-finish]:visible"))
    hand.sees("The remnant is larger than its sheet.")
    hand.tap("Finish")
    hand.page.fill("[name=length_mm]:visible", "500")
    hand.page.fill("[name=width_mm]:visible", "400")
    hand.touch(hand.page.locator("[data-finish]:visible"))
    hand.sees("Nothing is cutting")
    hand.settled()
    assert not hand.page.get_by_text("Refused").locator("visible=true").count()
