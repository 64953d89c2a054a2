from __future__ import annotations

import pytest
from django.db.models import Sum

from telemetry.counted import counted, feed_set_master
from telemetry.locks import Lock
from telemetry.models import Arc, ClockOffset, Feed, FeedVersion, Health, Reject, Rollup
from telemetry.paths import lock_path
from telemetry.selectors import (
    SILENT_US,
    arcs_changed_since,
    feed_health,
)
from telemetry.services import feed_register
from telemetry.worker import run_once
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db

SIX_US = 1_773_122_400_000_000  # 2026-03-10T06:00:00Z: 20522 days and 6 hours after 1970
MINUTE_US = 60_000_000


@pytest.fixture
def feed(tmp_path) -> Feed:
    path = tmp_path / "t.csv"
    path.write_text(
        "1,2026-03-10T06:10:00,1,ARC ON,\n2,2026-03-10T06:12:00,2,ARC ON,\n"
        "3,2026-03-10T06:14:00,2,ARC OFF,\n4,2026-03-10T06:20:00,1,ARC OFF,\n"
        "5,2026-03-10T06:40:00,1,ARC ON,\nwhat is this\n"
    )
    feed = feed_register(name="t", text=feed_text(path), by="Dana Okell")
    run_once([feed])
    return feed


def burnt(minutes: int, since: int = 0) -> dict[str, tuple[float, int]]:
    """By torch: minutes burnt and arcs begun, within these minutes of six o'clock."""
    within = (SIX_US + since * MINUTE_US, SIX_US + (since + minutes) * MINUTE_US - 1)
    rows = counted(Rollup.objects.filter(bucket_us__range=within), at="bucket_us").order_by()
    sums = rows.values("torch").annotate(us=Sum("burn_us"), n=Sum("arcs"))
    return {row["torch"]: (row["us"] / MINUTE_US, row["n"]) for row in sums}


def test_two_torches_burn_side_by_side_and_none_is_lost(feed):
    # By hand: torch 1 from 6:10 to 6:20, torch 2 from 6:12 to 6:14; the arc of 6:40 is open.
    assert burnt(60) == {"1": (10, 2), "2": (2, 1)}
    assert not Arc.objects.filter(ended="lost").exists()


def test_an_arc_over_a_quarter_hour_is_split_there(feed):
    assert burnt(15)["1"] == (5, 1)
    assert burnt(15, since=15)["1"] == (5, 0)


def test_a_follower_of_changes_sees_every_arc_and_every_change_once(feed, tmp_path):
    def follow(cursor: tuple[int, int]) -> tuple[list[str], tuple[int, int]]:
        seen = []
        while some := arcs_changed_since(*cursor, count=2):
            seen += [arc.ended for arc in some]
            cursor = (some[-1].changed_us, some[-1].pk)
        return seen, cursor

    seen, cursor = follow((0, 0))
    assert sorted(seen) == ["off", "off", "open"]
    assert follow(cursor) == ([], cursor)
    with (tmp_path / "t.csv").open("a") as file:
        file.write("6,2026-03-10T06:41:00,1,ARC OFF,\n")
    run_once([feed])
    assert follow(cursor)[0] == ["off"]


def test_of_two_sources_for_one_torch_the_masters_arcs_are_summed(feed, tmp_path):
    path = tmp_path / "u.csv"
    path.write_text("1,2026-03-10T06:10:00,1,ARC ON,\n2,2026-03-10T06:30:00,1,ARC OFF,\n")
    other = feed_register(name="u", text=feed_text(path), by="Dana Okell")
    assert not other.master
    run_once([other])
    assert burnt(60)["1"] == (10, 2)
    assert counted(Arc.objects.all()).count() == 3
    feed_set_master(feed=other, from_us=SIX_US)
    assert burnt(60) == {"1": (20, 1)}


def test_health_is_one_word_with_its_age(feed):
    now_us = feed.cursors.get().last_line_us
    assert feed_health(feed).state == "off"
    lock = Lock(lock_path("t", "live"), "feed")
    try:
        Health.objects.update_or_create(
            feed=feed, defaults={"link": "open", "since_us": now_us, "beat_us": now_us}
        )
        assert feed_health(feed, now_us + 1).state == "alive"
        Health.objects.update(beat_us=now_us + SILENT_US)
        silent = feed_health(feed, now_us + SILENT_US + 1)
        assert (silent.state, silent.since_us) == ("silent", now_us)
        assert feed_health(feed, now_us + SILENT_US + 60_000_000).state == "off"
        Health.objects.update(link="waiting", message="no such port", since_us=7)
        waiting = feed_health(feed, now_us)
        assert (waiting.state, waiting.since_us, waiting.message) == ("waiting", 7, "no such port")
    finally:
        lock.release()


def test_a_refused_line_is_kept_with_its_text_and_place(feed):
    reject = Reject.objects.get(feed=feed)
    assert (reject.line, reject.position) == ("what is this", 6)


def test_registering_the_same_text_again_makes_no_version(feed, tmp_path):
    text = FeedVersion.objects.get(feed=feed).text
    assert feed_register(name="t", text=text, by="Dana Okell").version == 1
    assert feed_register(name="t", text=text + "\n# mended\n", by="Dana Okell").version == 2
    made = FeedVersion.objects.filter(feed=feed).values_list("version", "made_by")
    assert list(made) == [(1, "Dana Okell"), (2, "Dana Okell")]
    assert ClockOffset.objects.get(feed=feed).offset_us == 0


@pytest.mark.parametrize("name", ["", "../up", "a b", "x" * 61, ".hidden"])
def test_a_name_that_could_leave_the_data_folder_is_refused(name, tmp_path):
    from telemetry.errors import DescriptionError

    with pytest.raises(DescriptionError, match="cannot name a feed"):
        feed_register(name=name, text=feed_text(tmp_path / "t.csv"))
