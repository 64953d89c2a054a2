"""From an older version to this one and back, and what a failing migration leaves."""

from __future__ import annotations

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from shopfloor.audit.triggers import audit_drop
from shopfloor.backup import upgrade
from shopfloor.backup.archive import BackupError
from shopfloor.backup.restore import restore
from shopfloor.models import Change, User
from telemetry.database import ensure_database
from tests.processes import manage
from tests.shopfloor.backup.conftest import Place

OLD = ("shopfloor", "0012_segment_carries_on")


@pytest.fixture
def older(other) -> Place:
    """The shop as the version had it before screens kept their sign-ins."""
    with other.here():
        audit_drop()
        MigrationExecutor(connection).migrate([OLD])
    return other


def columns(place: Place) -> list[tuple]:
    """Names and types; their order is another after a migration was taken back."""
    with place.connection() as raw:
        return sorted(
            raw.execute(
                'SELECT m.name, c.name, c.type, c."notnull" FROM sqlite_master m, '
                "pragma_table_info(m.name) c WHERE m.type = 'table'"
            ).fetchall()
        )


@pytest.mark.long
def test_an_older_shop_is_backed_up_upgraded_and_taken_back(older, tmp_path):
    tables, before, files = columns(older), older.rows(), older.files()
    with older.here():
        done = upgrade.upgrade(tmp_path / "before.zip")
        assert "shopfloor.0020_backups" in done.applied
        assert upgrade.pending() == ()
        User.objects.create(username="since")
        assert Change.objects.latest("pk").table == "shopfloor_user"  # triggers are there again
        assert upgrade.upgrade().backup is None
        back = restore(tmp_path / "before.zip", replace=True, migrate=False)
    assert columns(older) == tables
    after = older.rows()
    assert {name: len(rows) for name, rows in after.items()} == {
        name: len(rows) for name, rows in before.items()
    }
    assert after["shopfloor_user"] == before["shopfloor_user"]
    assert older.files() == files
    assert back.kept


@pytest.mark.long
def test_an_upgrade_that_fails_puts_everything_back(older, tmp_path, monkeypatch):
    tables, before, files = columns(older), older.rows(), older.files()

    def fail() -> None:
        raise RuntimeError("a row does not fit")

    monkeypatch.setattr(upgrade, "check", fail)
    with older.here(), pytest.raises(upgrade.UpgradeFailed, match=r"a row does not fit.*kept in"):
        upgrade.upgrade(tmp_path / "before.zip")
    assert columns(older) == tables
    assert older.rows()["shopfloor_user"] == before["shopfloor_user"]
    assert older.files() == files


def test_a_shop_of_a_newer_version_is_not_touched(other):
    with other.connection() as raw:
        raw.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('shopfloor', '9999_x', '')"
        )
        raw.commit()
    before = other.rows()
    with other.here(), pytest.raises(BackupError, match=r"newer Kerfbook.*9999_x"):
        upgrade.upgrade()
    assert other.rows() == before


def test_an_empty_folder_has_nothing_to_upgrade(tmp_path):
    place = Place(tmp_path / "new", None)
    with place.here():
        assert upgrade.upgrade().backup is None
    assert not (place.data / "kerfbook.sqlite3").exists()


@pytest.mark.long
def test_other_commands_leave_an_older_shop_as_it_is(older, tmp_path):
    text, tables, before = tmp_path / "f.toml", columns(older), older.rows()
    text.write_text('kind = "csv_file"')
    for words in (("intake",), ("rebuild",), ("addfeed", "new", str(text))):
        done = manage(*words, env=older.env)
        assert (done.returncode, done.stderr.count("\n")) == (2, 1)
        assert "manage.py upgrade" in done.stderr
    assert (columns(older), older.rows()) == (tables, before)


@pytest.mark.long
def test_an_older_database_without_rows_is_brought_up_by_whoever_needs_it(tmp_path):
    place = Place(tmp_path / "new", None)
    place.data.mkdir()
    with place.here():
        MigrationExecutor(connection).migrate([OLD])
        ensure_database()
        assert upgrade.pending() == ()
        assert MigrationExecutor(connection).loader.applied_migrations.keys() > {OLD}
