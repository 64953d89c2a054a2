"""A backup taken and put back, on each database and from one to the other, held against what the
databases' own libraries and `zipfile` read."""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
import zipfile

import pytest

from shopfloor.backup.archive import BackupError
from shopfloor.backup.make import backup_make
from shopfloor.backup.restore import restore
from shopfloor.models import Change, User
from telemetry.models import Feed
from telemetry.worker.rebuild import rebuild
from tests.shopfloor.backup.conftest import Place
from tests.telemetry.stored import everything

SHORT = re.compile(r"(:\d\d\.\d{3})\Z")  # an instant as the audit's triggers write it on SQLite


def alike(row: tuple) -> tuple:
    """A row with one spelling an instant; migrations without when they were applied."""
    return tuple(SHORT.sub(r"\g<1>000", v) if isinstance(v, str) else v for v in row)


def shop_in(place: Place) -> dict[str, list[tuple]]:
    rows = place.rows()
    rows["django_migrations"] = [row[:3] for row in rows["django_migrations"]]
    return {name: sorted(map(alike, found), key=repr) for name, found in rows.items()}


def next_user() -> tuple[int, str]:
    made = User.objects.create(username="next")
    return made.pk, Change.objects.latest("pk").table


def test_the_manifest_says_what_is_in_the_shop(filled, saved):
    """Counts by the database's library, sums by hashlib, members by zipfile."""
    rows = {name: len(found) for name, found in filled.rows().items()}
    with zipfile.ZipFile(saved) as archive:
        names = archive.namelist()
        assert names[-1] == "manifest.json"
        manifest = json.loads(archive.read("manifest.json"))
        entries = [*manifest["tables"], *manifest["files"]]
        assert sorted(names[:-1]) == sorted(entry["name"] for entry in entries)
        for entry in entries:
            data = archive.read(entry["name"])
            said = (entry["bytes"], entry["sha256"])
            assert (len(data), hashlib.sha256(data).hexdigest()) == said
        files = {entry["name"]: archive.read(entry["name"]) for entry in manifest["files"]}
    assert files == filled.files()
    assert {"secret.key", "journal/t/backfill/0000000001.journal"} < set(files)
    assert len(manifest["migrations"]) == rows.pop("django_migrations")
    assert {entry["table"]: entry["rows"] for entry in manifest["tables"]} == rows
    assert rows["telemetry_event"] > 300
    assert stat.S_IMODE(os.stat(saved).st_mode) == 0o600
    assert [path.name for path in saved.parent.iterdir()] == [saved.name]


@pytest.mark.slow
def test_what_is_put_back_is_what_was_there_and_goes_on(filled, saved, tmp_path):
    """The same rows and files; a rebuild changes nothing; numbers go on behind the deleted one."""
    place = Place(tmp_path / "new", None)
    with place.here():
        done = restore(saved)
    assert done.kept == ""
    assert shop_in(place) == shop_in(filled)
    assert place.files() == filled.files()
    assert not list(place.data.glob("re[sp]*"))
    with filled.here():
        before = everything()
    with place.here():
        rebuild(Feed.objects.get())
        assert everything() == before
        assert next_user() == (4, "shopfloor_user")
    assert len(before["arcs"]) > 50
    assert len(before["rollups"]) > 5


@pytest.mark.long
@pytest.mark.served
def test_either_database_takes_the_other_ones_backup(filled, saved, database, tmp_path):
    first, second = (Place(tmp_path / name, database()) for name in ("first", "second"))
    last = Place(tmp_path / "last", None)
    there = tmp_path / "there.zip"
    with filled.here():
        before = everything()
    with first.here():
        restore(saved)
        assert everything() == before
        made = backup_make(there)
        rebuild(Feed.objects.get())
        assert everything() == before
    assert made.rows == {
        name: len(rows) for name, rows in first.rows().items() if name != "django_migrations"
    }
    whole = first.rows()
    with second.here():
        restore(there)
        assert next_user() == (4, "shopfloor_user")
    again = second.rows()
    for name in set(whole) - {"django_migrations", "shopfloor_user", "shopfloor_change"}:
        if name != "telemetry_arc":  # the rebuild that came between may number these anew
            assert len(again[name]) == len(whole[name]), name
    with last.here():
        restore(there)
        assert everything() == before
    assert last.files() == second.files() == filled.files()
    text = {"telemetry_cursor", "shopfloor_action", "shopfloor_change"}  # JSON, its spaces apart
    after, wanted = shop_in(last), shop_in(filled)
    assert {name for name in wanted if after[name] != wanted[name]} <= text
    assert {name: len(after[name]) for name in text} == {name: len(wanted[name]) for name in text}


@pytest.mark.slow
def test_a_shop_that_is_there_is_kept_beside_or_left(filled, saved, other):
    before = other.rows(), other.files()
    with other.here(), pytest.raises(BackupError, match="--replace"):
        restore(saved)
    assert (other.rows(), other.files()) == before
    with other.here():
        done = restore(saved, replace=True)
    (kept,) = other.data.glob("replaced-*")
    assert done.kept == str(kept)
    assert len(other.rows()["telemetry_event"]) == len(filled.rows()["telemetry_event"])
    old = Place(kept, None)
    assert (old.rows(), old.files()) == before


@pytest.mark.long
@pytest.mark.served
def test_on_postgresql_the_old_tables_are_kept_in_a_schema_of_their_own(saved, database, tmp_path):
    place = Place(tmp_path / "new", database())
    with place.here():
        restore(saved)
        User.objects.create(username="only here")
        done = restore(saved, replace=True)
    schema = done.kept.rpartition(" ")[2]
    with place.connection() as raw:
        names = "SELECT username FROM {}.shopfloor_user ORDER BY id"
        old = [name for (name,) in raw.execute(names.format(schema))]
        new = [name for (name,) in raw.execute(names.format("public"))]
    assert (old, new) == (["ann", "ben", "only here"], ["ann", "ben"])


def test_a_shop_in_use_is_left_alone(saved, other):
    before = other.rows(), other.files()
    with other.connection() as raw:
        raw.execute("SELECT * FROM telemetry_feed").fetchall()
        with other.here(), pytest.raises(BackupError, match="in use"):
            restore(saved, replace=True)
    assert (other.rows(), other.files()) == before


@pytest.mark.served
def test_a_database_of_postgresql_in_use_is_left_alone(saved, database, tmp_path):
    place = Place(tmp_path / "new", database())
    with place.connection(), place.here(), pytest.raises(BackupError, match="in use"):
        restore(saved)
    assert place.rows() == {}
