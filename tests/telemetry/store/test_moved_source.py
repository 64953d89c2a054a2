"""A source moved to another table: what it heard at the first stays there."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.db.models import Sum

from telemetry.models import Arc, Cursor, Event, Feed, Rollup
from telemetry.services import feed_register
from telemetry.store.uneven import torches_of
from telemetry.verify import check_feed
from telemetry.worker import run_once
from telemetry.worker.rebuild import rebuild
from tests.telemetry.stored import everything
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db
NORTH = [
    "1,2026-03-10T06:00:00,1,ARC ON,",
    "2,2026-03-10T06:00:30,1,ARC OFF,",
    "5,2026-03-10T06:05:00,1,ARC ON,",
    "6,2026-03-10T06:05:10,1,ARC OFF,",
    "7,2026-03-10T06:10:00,1,ARC ON,",
]
# The last arc is still open as the source moves, and ends behind it in the next quarter hour.
SOUTH = [
    "8,2026-03-10T06:16:00,1,ARC OFF,",
    "9,2026-03-10T06:17:00,1,ARC ON,",
    "10,2026-03-10T06:17:20,1,ARC OFF,",
    "11,2026-03-10T06:29:00,2,ARC ON,",
    "12,2026-03-10T06:29:05,2,ARC OFF,",
]
LATE = ["3,2026-03-10T06:02:00,1,PIERCE,", "4,2026-03-10T06:02:01,1,PIERCE,"]
BURNS = [("north", "1", 30), ("north", "1", 10), ("north", "1", 360),
         ("south", "1", 20), ("south", "2", 5)]  # fmt: skip
SUMS = [
    ("north", "1", 0, 340, 3), ("north", "1", 1, 60, 0), ("south", "1", 1, 20, 1),
    ("south", "2", 1, 5, 1),
]  # fmt: skip


class Moving:
    def __init__(self, path: Path) -> None:
        self.path = path
        self.feed = self.at("north")

    def at(self, table: str) -> Feed:
        text = feed_text(self.path, window_s=0.0).replace('"north"', f'"{table}"')
        return feed_register(name="n", text=text, by="test")

    def hear(self, lines: list[str]) -> None:
        with self.path.open("a") as file:
            file.write("".join(f"{line}\n" for line in lines))
        run_once([Feed.objects.get(pk=self.feed.pk)])


@pytest.fixture
def moving(tmp_path: Path) -> Moving:
    path = tmp_path / "live.csv"
    path.touch()
    found = Moving(path)
    found.hear(NORTH)
    found.at("south")
    found.hear(SOUTH)
    return found


def burns() -> list[tuple[str, str, int]]:
    rows = Arc.objects.order_by("on_us").values_list("table", "torch", "on_us", "off_us")
    return [(table, torch, (off - on) // 1_000_000) for table, torch, on, off in rows]


def sums() -> list[tuple[str, str, int, int, int]]:
    rows = Rollup.objects.values_list("table", "torch", "bucket_us", "burn_us", "arcs")
    first_us = min(row[2] for row in rows)
    return sorted(
        (table, torch, (at - first_us) // 900_000_000, burn // 1_000_000, arcs)
        for table, torch, at, burn, arcs in rows
    )


def test_arcs_that_began_before_a_source_moved_stay_at_their_table(moving: Moving) -> None:
    assert burns() == BURNS
    assert sums() == SUMS


def test_late_lines_pair_arcs_again_where_they_burnt(moving: Moving) -> None:
    moving.hear(LATE)
    assert Event.objects.count() == len(NORTH + SOUTH + LATE)
    assert burns() == BURNS
    assert sums() == SUMS


def test_a_rebuild_leaves_arcs_at_the_table_they_were_read_at(moving: Moving) -> None:
    before = everything()
    keys = set(Arc.objects.values_list("pk", "changed_us"))
    done = rebuild(Feed.objects.get(pk=moving.feed.pk))
    assert not done.arc_changes
    assert everything() == before
    assert set(Arc.objects.values_list("pk", "changed_us")) == keys
    assert (burns(), sums()) == (BURNS, SUMS)


def test_a_rebuild_puts_back_arcs_that_went_to_the_new_table(moving: Moving) -> None:
    """As programs before this one left them."""
    Arc.objects.update(table="south")
    Rollup.objects.all().delete()
    assert rebuild(Feed.objects.get(pk=moving.feed.pk)).arc_changes.changed == 3
    assert (burns(), sums()) == (BURNS, SUMS)


def test_verify_finds_arcs_and_sums_at_the_wrong_table(moving: Moving) -> None:
    assert check_feed(moving.feed).findings == []
    Arc.objects.filter(ended="off").update(table="south")
    said = {finding.what: finding.text for finding in check_feed(moving.feed).findings}
    assert said["arcs misplaced"].startswith("3 arcs of n stand at another table")
    assert said["sums differ"].startswith("The sums of 2 quarter hours")


def test_lines_heard_before_a_move_and_stored_behind_it_burnt_at_the_first_table(
    tmp_path: Path,
) -> None:
    path = tmp_path / "live.csv"
    path.touch()
    moving = Moving(path)
    moving.hear(NORTH[:1])
    Event.objects.all().delete()
    Arc.objects.all().delete()
    Cursor.objects.all().delete()  # journalled, not stored yet
    moving.at("south")
    moving.hear(SOUTH)
    assert burns()[0][0] == "north"
    assert torches_of(moving.feed) == {"1", "2"}


def test_sums_of_two_tables_in_one_quarter_hour_stand_side_by_side(tmp_path: Path) -> None:
    path = tmp_path / "live.csv"
    path.touch()
    moving = Moving(path)
    moving.hear(NORTH[:4])
    moving.at("south")
    moving.hear(["7,2026-03-10T06:12:00,1,ARC ON,", "8,2026-03-10T06:12:07,1,ARC OFF,"])
    assert sums() == [("north", "1", 0, 40, 2), ("south", "1", 0, 7, 1)]
    assert check_feed(moving.feed).findings == []
    by_table = Rollup.objects.values("table").annotate(us=Sum("burn_us")).order_by("table")
    assert [(row["table"], row["us"]) for row in by_table] == [
        ("north", 40_000_000), ("south", 7_000_000),
    ]  # fmt: skip
    moving.hear(LATE)
    assert sums() == [("north", "1", 0, 40, 2), ("south", "1", 0, 7, 1)]
