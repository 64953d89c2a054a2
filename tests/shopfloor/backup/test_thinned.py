"""A backup of a journal that was thinned, before it was made or while it was."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from shopfloor.backup import folder
from shopfloor.backup.make import backup_make
from shopfloor.backup.restore import restore
from telemetry.journal import Writer
from telemetry.journal.segments import pack, packable, segment_numbers
from telemetry.journal.thinned import thinned_read
from telemetry.models import Cursor, Feed
from telemetry.paths import feed_folder, journal_folder
from telemetry.thinning import thin
from telemetry.verify import check_feed
from telemetry.worker.rebuild import rebuild
from tests.migrated import copied
from tests.shopfloor.backup.conftest import Place
from tests.telemetry.stored import Table, everything
from tests.telemetry.table_lines import simulate

NOW = datetime(2027, 3, 1, tzinfo=UTC)
ALL_OLD = 1 << 60
LINES = simulate(21, 400)


@pytest.fixture
def place(tmp_path, monkeypatch, migrated) -> Place:
    """A shop with a source of many packed segments."""
    monkeypatch.setitem(Writer.__init__.__kwdefaults__, "segment_bytes", 2_000)
    made = Place(tmp_path / "shop" / "data", None)
    copied(migrated, made.data)
    with made.here():
        table = Table(made.data.parent, numbered=True)
        for first in range(0, 400, 50):
            table.hear(LINES[first : first + 50])
        journal = journal_folder("n", "live")
        for number in packable(journal, Cursor.objects.get(lane="live").segment):
            pack(journal, number)
        assert len(segment_numbers(journal)) > 6
    return made


def proved(saved, fresh: Place, before: dict) -> None:
    """What is put back holds the same, verifies without a fault and loses nothing to a rebuild."""
    with fresh.here():
        restore(saved)
        feed = Feed.objects.get(name="n")
        assert everything() == before
        assert [f.text for f in check_feed(feed).findings if f.fault] == []
        assert rebuild(feed).unreadable == ()
        assert everything() == before


@pytest.mark.long
def test_a_thinned_journal_comes_back_proved(place, tmp_path):
    with place.here():
        assert thin(Feed.objects.get(name="n"), ALL_OLD, NOW) > 2
        before = everything()
        backup_make(tmp_path / "b.zip")
    fresh = Place(tmp_path / "new" / "data", None)
    proved(tmp_path / "b.zip", fresh, before)
    with fresh.here():
        assert thinned_read(feed_folder("n")).lanes


@pytest.mark.long
def test_no_journal_is_thinned_while_it_is_copied(place, tmp_path, monkeypatch):
    real, copied = folder._copy, []

    def copy(path, name, writer):
        copied.append(name)
        if sum("/live/" in one for one in copied) == 3:
            assert thin(Feed.objects.get(name="n"), ALL_OLD, NOW) == 0
        return real(path, name, writer)

    with place.here():
        before = everything()
        monkeypatch.setattr(folder, "_copy", copy)
        backup_make(tmp_path / "b.zip")
        assert thin(Feed.objects.get(name="n"), ALL_OLD, NOW) > 4
    proved(tmp_path / "b.zip", Place(tmp_path / "new" / "data", None), before)
