"""A database put back from before a change: what the journal knows is taken up from it."""

from __future__ import annotations

import pytest

from telemetry.models import Arc, ClockOffset, Cursor, Event, Feed, FeedVersion, Reject
from telemetry.services import clock_correct, feed_register
from telemetry.worker import run_once
from telemetry.worker.rebuild import rebuild
from tests.telemetry.faults.oracles import conserved
from tests.telemetry.table_lines import feed_text, simulate

pytestmark = pytest.mark.django_db


@pytest.fixture
def path(tmp_path):
    return tmp_path / "t.csv"


def lines(first: int, last: int) -> str:
    return "".join(x.text(numbered=True) + "\n" for x in simulate(41, last)[first:])


def add(path, first: int, last: int) -> None:
    with path.open("a") as file:
        file.write(lines(first, last))


def put_back_before_version(feed, version: int) -> None:
    """As a backup from before it was made leaves the database."""
    Event.objects.filter(feed=feed)._raw_delete("default")
    for model in (Arc, Cursor, Reject):
        model.objects.filter(feed=feed).delete()
    FeedVersion.objects.filter(feed=feed, version__gte=version).delete()
    Feed.objects.filter(pk=feed.pk).update(version=version - 1)


def test_a_change_of_description_is_known_again(path):
    add(path, 0, 60)
    feed = feed_register(name="t", text=feed_text(path), by="test")
    run_once([feed])
    changed = feed_text(path, window_s=5.0)
    feed = feed_register(name="t", text=changed, by="test")
    add(path, 60, 90)
    run_once([feed])
    put_back_before_version(feed, 2)
    add(path, 90, 120)
    run_once([Feed.objects.get()])
    feed = Feed.objects.get()
    assert feed.version == 2
    row = FeedVersion.objects.get(version=2)
    assert (row.text, row.made_by) == (changed, "the journal")
    conserved(feed, path.read_bytes())
    rebuild(feed)
    conserved(feed, path.read_bytes())


def test_a_change_made_since_under_the_same_number_comes_behind_it(path):
    add(path, 0, 60)
    feed = feed_register(name="t", text=feed_text(path), by="test")
    run_once([feed])
    lost = feed_text(path, window_s=5.0)
    feed = feed_register(name="t", text=lost, by="test")
    add(path, 60, 90)
    run_once([feed])
    put_back_before_version(feed, 2)
    newer = feed_text(path, window_s=9.0)
    feed_register(name="t", text=newer, by="test")
    add(path, 90, 120)
    run_once([Feed.objects.get()])
    feed = Feed.objects.get()
    texts = dict(FeedVersion.objects.values_list("version", "text"))
    assert (texts[2], texts[3], feed.version) == (lost, newer, 3)
    assert Cursor.objects.get().state["version"] == 3
    conserved(feed, path.read_bytes())


def test_a_corrected_clock_is_known_again(path):
    add(path, 0, 60)
    feed = feed_register(name="t", text=feed_text(path), by="test")
    run_once([feed])
    clock_correct(feed=feed, offset_us=7_000_000, by="test")
    run_once([Feed.objects.get()])
    times = set(Event.objects.values_list("key", "at_us"))
    put_back_before_version(feed, 2)
    Feed.objects.update(version=1)
    ClockOffset.objects.filter(version=1).delete()
    Feed.objects.update(clock_version=0)
    run_once([Feed.objects.get()])
    assert Feed.objects.get().clock_version == 1
    assert ClockOffset.objects.get(version=1).offset_us == 7_000_000
    assert set(Event.objects.values_list("key", "at_us")) == times
    # One made since under the same number is made again behind it.
    put_back_before_version(feed, 2)
    Feed.objects.update(version=1, clock_version=0)
    ClockOffset.objects.filter(version=1).delete()
    clock_correct(feed=Feed.objects.get(), offset_us=9_000_000, by="test")
    run_once([Feed.objects.get()])
    run_once([Feed.objects.get()])
    offsets = dict(ClockOffset.objects.values_list("version", "offset_us"))
    assert offsets == {0: 0, 1: 7_000_000, 2: 9_000_000}
    moved = {(bytes(key), at_us + 2_000_000) for key, at_us in times}
    assert {(bytes(k), at) for k, at in Event.objects.values_list("key", "at_us")} == moved
