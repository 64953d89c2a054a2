"""An operator's way from badge to closed job, in a real browser with a touch screen."""

from __future__ import annotations

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_from_badge_to_finished_sheet(terminal, stage):
    hand = terminal
    hand.open()
    hand.looked_at("sign-in")
    hand.sign_in()
    hand.sees("Next on North")
    hand.looked_at("idle")

    hand.begin()
    hand.tap("K-2284, nest 1 of 2")
    hand.looked_at("start")
    hand.scan("S-1101")
    hand.tap("Start")
    hand.settled()
    assert hand.needed("start") <= 3
    assert stage.facts()["runs"] == [["K-2284-1", "open", "S-1101"]]

    stage.does("began earlier", minutes=20)
    stage.does("burn", first=1, last=14)
    hand.sees("7 of 12 base plates")
    hand.looked_at("run")

    hand.begin()
    hand.tap("Stop")
    hand.sees("Why is North standing?")
    hand.looked_at("why")
    hand.tap("Crane busy")
    hand.settled()
    assert hand.needed("stop") <= 3
    hand.sees("Crane busy")
    hand.looked_at("stopped")
    assert stage.facts()["stoppages"] == [["crane", False]]

    hand.taps = 0
    hand.tap("Cutting again")
    hand.settled()
    assert hand.taps == 1
    assert stage.facts()["stoppages"] == [["crane", True]]

    hand.begin()
    hand.tap("a part or the set")
    hand.looked_at("change")
    hand.tap("Tray T-fast")
    hand.settled()
    assert hand.needed("change") <= 3
    assert stage.facts()["fitted"] == ["FA-EL-2", "FA-NO-2", "FA-RE-2", "FA-SH-2", "FA-SW-2"]

    hand.tap("Check it")
    hand.looked_at("check")
    hand.touch(hand.page.get_by_label("u: more"))
    hand.tap("Keep this check")
    hand.settled()
    assert stage.facts()["checks"] == [[0.3, True]]  # asked is range 3: 0.4 + 0.01 x 12 = 0.52 mm

    stage.does("burn", first=15, last=24)
    hand.sees("12 of 12 base plates")
    hand.begin()
    hand.tap("Finish")
    hand.sees("12 parts, close this run")
    hand.looked_at("finish")
    hand.tap("All good")
    hand.settled()
    assert hand.needed("finish") <= 3
    assert stage.facts()["results"] == [["good", 12, ""]]
    hand.sees("Mark heat 4B-7701")

    hand.tap("Undo")
    hand.settled()
    facts = stage.facts()
    assert sum(count for _, count, _ in facts["results"]) == 0
    assert facts["runs"][0][1] == "open"


def test_a_job_closes_with_its_last_good_part(terminal, stage):
    hand = terminal
    hand.sign_in()
    # 36 are ordered and 12 lie on a sheet. Two sheets are on the list; the third start is of a
    # nest on no list, from its printed setup sheet and the sheet that lies on the table.
    for nest in ("K-2284, nest 1 of 2", "K-2284, nest 2 of 2"):
        hand.tap(nest)
        hand.tap("Start")
        hand.settled()
        hand.tap("Finish")
        hand.tap("All good")
        hand.settled()
        assert stage.facts()["jobs"]["K-2284"] == "open"
    hand.scan("K-2284-1")
    hand.sees("Not in North’s queue.")
    hand.looked_at("scanned start")
    hand.scan("S-1109")
    hand.sees("on sheet S-1109")
    hand.tap("Start")
    hand.settled()
    hand.tap("Finish")
    hand.touch(hand.page.locator('[data-map=finish] button[data-contour="2"]'))
    hand.tap("tipped part")
    hand.tap("11 good, 1 marked")
    hand.settled()
    assert stage.facts()["jobs"]["K-2284"] == "open"  # 35 good: one is owed, the scrap counts not
    stage.does("plate", number=8)
    hand.scan("K-2284-1")
    hand.scan("S-1108")
    hand.sees("on sheet S-1108")
    hand.tap("Start")
    hand.settled()
    hand.tap("Finish")
    hand.tap("All good")
    hand.settled()
    facts = stage.facts()
    assert facts["jobs"] == {"K-2284": "closed", "K-2297": "open"}
    assert [run[:2] for run in facts["runs"]] == [
        ["K-2284-1", "finished"],
        ["K-2284-2", "finished"],
        ["K-2284-1", "finished"],
        ["K-2284-1", "finished"],
    ]
