"""Old segments deleted: the rows stay, are proved by what is left, and a rebuild loses none."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from telemetry.journal import Writer
from telemetry.journal.segments import pack, packable, segment_numbers
from telemetry.journal.thinned import ThinnedError, thinned_read
from telemetry.models import Cursor, Event, Reject
from telemetry.paths import feed_folder, journal_folder
from telemetry.services import clock_correct
from telemetry.thinning import thin
from telemetry.verify import check_feed
from telemetry.worker.rebuild import rebuild
from tests.telemetry.stored import Table, everything
from tests.telemetry.table_lines import simulate

pytestmark = pytest.mark.django_db
NOW = datetime(2027, 3, 1, tzinfo=UTC)
ALL_OLD = 1 << 60
LINES = simulate(21, 420)


@pytest.fixture
def table(tmp_path, monkeypatch):
    """Lines in many packed segments, some refused, some repeated, some late, some from a file."""
    monkeypatch.setitem(Writer.__init__.__kwdefaults__, "segment_bytes", 2_000)
    made = Table(tmp_path, numbered=True)
    for first in range(0, 350, 50):
        made.hear(LINES[first : first + 50] + LINES[max(first - 3, 0) : first])
        with made.live.open("a") as file:
            file.write(f"nonsense {first}\n")
    made.read_in(LINES[330:380])
    folder = journal_folder(made.feed.name, "live")
    for number in packable(folder, Cursor.objects.get(feed=made.feed, lane="live").segment):
        pack(folder, number)
    return made


def numbers(table):
    return segment_numbers(journal_folder(table.feed.name, "live"))


def faults(table):
    return [finding.text for finding in check_feed(table.feed).findings if finding.fault]


def test_thinned_lines_stay_are_proved_and_a_rebuild_loses_none(table):
    before, segments = everything(), numbers(table)
    cursors = list(Cursor.objects.order_by("lane").values("lane", "sequence", "lines", "events"))
    gone = thin(table.feed, ALL_OLD, NOW)
    assert gone >= 3
    assert numbers(table) == segments[gone:]
    assert everything() == before
    done = check_feed(table.feed)
    assert [(f.what, f.fault) for f in done.findings] == [("journal thinned", False)]
    assert "last on 2027-03-01" in done.findings[0].text
    again = rebuild(table.feed)
    assert again.unreadable == ()
    assert not again.event_changes
    assert not again.arc_changes
    assert everything() == before
    after = Cursor.objects.order_by("lane").values("lane", "sequence", "lines", "events")
    assert list(after) == cursors
    assert faults(table) == []


def test_intake_goes_on_and_thins_again_and_what_came_before_may_come_again(table):
    thin(table.feed, ALL_OLD, NOW)
    first = thinned_read(feed_folder("n"))
    table.hear(LINES[380:400])
    table.read_in(LINES[:100])  # from a file, long after
    assert Event.objects.count() == 400
    assert faults(table) == []
    rebuild(table.feed)
    assert Event.objects.count() == 400
    assert faults(table) == []
    clock_correct(feed=table.feed, offset_us=5_000_000, by="test")
    table.feed.refresh_from_db()
    for n in range(400, 420, 4):
        table.hear(LINES[n : n + 4] + LINES[n - 60 : n])
    folder = journal_folder(table.feed.name, "live")
    for number in packable(folder, Cursor.objects.get(feed=table.feed, lane="live").segment):
        pack(folder, number)
    assert thin(table.feed, ALL_OLD, NOW) > 0
    second = thinned_read(feed_folder("n"))
    assert second.lane("live").sequence > first.lane("live").sequence
    assert second.events.count > first.events.count
    before = everything()
    assert faults(table) == []
    rebuild(table.feed)
    assert everything() == before
    assert faults(table) == []


def test_a_thinned_row_that_is_changed_or_gone_is_found(table):
    thin(table.feed, ALL_OLD, NOW)
    event = Event.objects.order_by("at_us").first()
    text = event.stamp
    Event.objects.filter(feed=table.feed, key=event.key).update(stamp="another")
    assert any("segments thinned since" in fault for fault in faults(table))
    Event.objects.filter(feed=table.feed, key=event.key).update(stamp=text)
    assert faults(table) == []
    Reject.objects.order_by("received_us").first().delete()
    assert any("refused lines of n were stored from segments" in text for text in faults(table))


def test_only_what_is_older_closed_packed_and_stored_goes(table):
    segments = numbers(table)
    assert thin(table.feed, 0, NOW) == 0
    Cursor.objects.filter(feed=table.feed, lane="live").update(segment=segments[0])
    assert thin(table.feed, ALL_OLD, NOW) == 0
    assert numbers(table) == segments
    assert thinned_read(feed_folder("n")).lanes == {}


def test_killed_before_the_segments_are_gone_the_next_time_lets_go_of_them(table, monkeypatch):
    monkeypatch.setattr("telemetry.thinning._delete", lambda folder, lane: 0)
    thin(table.feed, ALL_OLD, NOW)
    segments = numbers(table)
    assert faults(table) == []
    monkeypatch.undo()
    assert thin(table.feed, 0, NOW) > 0
    assert numbers(table) != segments
    assert faults(table) == []


def test_a_record_that_was_tampered_with_is_found_and_nothing_is_rebuilt_from_it(table):
    thin(table.feed, ALL_OLD, NOW)
    before = everything()
    path = feed_folder("n") / "thinned.json"
    whole = json.loads(path.read_text())
    whole["said"]["lanes"]["live"]["lines"] += 1
    path.write_text(json.dumps(whole))
    assert any("is not as it was written" in fault for fault in faults(table))
    with pytest.raises(ThinnedError):
        rebuild(table.feed)
    assert everything() == before


def test_a_source_with_a_fault_is_not_thinned(table):
    segments = numbers(table)
    event = Event.objects.order_by("-at_us").first()
    Event.objects.filter(feed=table.feed, key=event.key).update(stamp="another")
    with pytest.raises(OSError, match="verify first"):
        thin(table.feed, ALL_OLD, NOW)
    assert numbers(table) == segments
