"""A backup taken and put back, on each database and from one to the other, held against what the
databases' own libraries and `zipfile` read."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import zipfile

import pytest

pytestmark = pytest.mark.slow

REBUILT = """
import json
from tests.telemetry.stored import everything
print(json.dumps({name: sorted(map(repr, rows)) for name, rows in everything().items()}))
"""
NEXT = """
from shopfloor.models import Change, User
made = User.objects.create(username="next")
print(made.pk, Change.objects.latest("pk").table)
"""


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
            assert (len(data), hashlib.sha256(data).hexdigest()) == (
                entry["bytes"],
                entry["sha256"],
            )
        files = {entry["name"]: archive.read(entry["name"]) for entry in manifest["files"]}
    assert files == filled.files()
    said = {entry["table"]: entry["rows"] for entry in manifest["tables"]}
    migrations = rows.pop("django_migrations")
    assert said == rows
    assert len(manifest["migrations"]) == migrations
    assert said["telemetry_event"] > 300
    assert stat.S_IMODE(os.stat(saved).st_mode) == 0o600
    assert [path.name for path in saved.parent.iterdir()] == [saved.name]


def test_what_is_put_back_is_what_was_there(filled, saved, empty):
    place = empty()
    place.manage("restore", str(saved))
    before, after = filled.rows(), place.rows()
    for name in before:
        if name == "django_migrations":  # with the instants at which they were applied
            assert len(after[name]) == len(before[name])
        else:
            assert after[name] == before[name], name
    assert set(after) == set(before)
    assert place.files() == filled.files()
    assert not (place.data / "restoring").exists()


def test_a_rebuild_there_gives_the_same_and_numbers_go_on(filled, saved, empty):
    place = empty()
    place.manage("restore", str(saved))
    before = json.loads(filled.manage("shell", "-v", "0", "-c", REBUILT))
    place.manage("rebuild")
    assert json.loads(place.manage("shell", "-v", "0", "-c", REBUILT)) == before
    assert len(before["arcs"]) > 50
    assert len(before["rollups"]) > 5
    # Three people were made and the last one deleted: the next is the fourth, and is audited.
    assert place.manage("shell", "-v", "0", "-c", NEXT).split() == ["4", "shopfloor_user"]


@pytest.mark.served
def test_either_database_takes_the_other_ones_backup(filled, saved, kind, empty):
    other = empty("postgresql" if kind == "sqlite" else "sqlite")
    other.manage("restore", str(saved))
    there = saved.with_name("there.zip")
    other.manage("backup", str(there))
    back = empty()
    back.manage("restore", str(there))
    before, after = filled.rows(), back.rows()
    different = sorted(name for name in before if after[name] != before[name])
    if kind == "sqlite":  # whose JSON is text, and PostgreSQL parts a list's values by its own rule
        loose = {"telemetry_cursor", "shopfloor_action", "shopfloor_change", "django_migrations"}
        assert set(different) <= loose
        counts = [[len(rows[name]) for name in different] for rows in (before, after)]
        assert counts[0] == counts[1]
    else:
        assert different == ["django_migrations"]


def test_a_shop_that_is_there_is_not_overwritten(saved, empty):
    place = empty()
    place.fill(place.data.parent / "other", lines=30)
    before, files = place.rows(), place.files()
    said = place.manage("restore", str(saved), status=2)
    assert "--replace" in said
    assert said.count("\n") == 1
    assert (place.rows(), place.files()) == (before, files)
    said = place.manage("restore", str(saved), "--replace")
    (kept,) = place.data.glob("replaced-*")
    assert str(kept) in said
    assert (kept / "journal" / "t" / "backfill" / "0000000001.journal").is_file()
    assert len(place.rows()["telemetry_event"]) > len(before["telemetry_event"])
    with place.connection() as raw:
        if place.url:
            schema = kept.name.replace("-", "_").lower()
            assert schema in said
            old = raw.execute(f"SELECT count(*) FROM {schema}.telemetry_event").fetchone()
        else:
            raw.execute("ATTACH ? AS old", [str(kept / "kerfbook.sqlite3")])
            old = raw.execute("SELECT count(*) FROM old.telemetry_event").fetchone()
    assert old == (len(before["telemetry_event"]),)


def test_a_shop_in_use_is_left_alone(saved, empty):
    place = empty()
    place.manage("migrate", "-v", "0")
    with place.connection() as raw:
        raw.execute("SELECT * FROM telemetry_feed").fetchall()
        said = place.manage("restore", str(saved), status=2)
    assert "in use" in said
    assert said.count("\n") == 1
    assert not place.rows()["shopfloor_user"]
    assert not (place.data / "journal").exists()
    place.manage("restore", str(saved))
