"""Shops on either database, and what the databases' own libraries read of them."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from urllib.parse import unquote

import environ
import pytest
from django.utils import timezone

from shopfloor.backup.make import backup_make
from shopfloor.files.uploads import upload_keep
from telemetry.services import feed_register
from telemetry.worker.backfill import backfill
from tests.migrated import copied, working_on
from tests.processes import environment
from tests.servers import own_database, postgres_server
from tests.telemetry.table_lines import feed_text, simulate


def shop_made() -> None:
    """Every sign that could break a line of text, most kinds of column, a number used and gone."""
    from shopfloor import models

    odd = "a\tb\\N\n\\.\r\\x41 \u00e9\u20ac\U0001f525 'quoted' \"too\""
    models.Shop.objects.create(name=odd, remnant_factor=0.1 + 0.2, scrap_minor_kg=None)
    ann = models.User.objects.create(username="ann", badge="", role="owner")
    models.User.objects.create(username="ben", badge=None, last_login=timezone.now())
    models.User.objects.create(username="gone").delete()
    models.Rate.objects.create(kind="machine", amount_minor=-(2**40), valid_from=date(2026, 1, 31))
    at = datetime(2026, 3, 29, 1, 30, 0, 480000, tzinfo=UTC)
    models.Action.objects.create(
        kind="note", payload={"odd": odd, "n": [1, 2.5, None, True]}, person=ann,
        device_at=at, at=at.replace(microsecond=0),
    )  # fmt: skip
    upload_keep(odd.encode() * 100, "incoming")


@dataclass
class Place:
    """A data folder with its database."""

    data: Path
    url: str | None

    @property
    def env(self) -> dict[str, str]:
        return environment(self.data, **({"DATABASE_URL": self.url} if self.url else {}))

    def here(self) -> AbstractContextManager[None]:
        """Inside, the program works on this place."""
        return working_on(self.data, self.url)

    def rows(self) -> dict[str, list[tuple]]:
        """All rows of all tables, by the database's own library."""
        with self.connection() as raw:
            names = raw.execute(TABLES["postgresql" if self.url else "sqlite"]).fetchall()
            return {
                name: sorted(raw.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr)
                for (name,) in names
            }

    @contextmanager
    def connection(self) -> Iterator:
        if self.url:
            import psycopg

            with psycopg.connect(**login(self.url), autocommit=True) as raw:
                yield raw
            return
        raw = sqlite3.connect(self.data / "kerfbook.sqlite3")
        try:
            yield raw
        finally:
            raw.close()

    def files(self) -> dict[str, bytes]:
        """What of the data folder is the shop's."""
        return {
            path.relative_to(self.data).as_posix(): path.read_bytes()
            for root in ("journal", "uploads", "files", "secret.key")
            for path in [self.data / root, *(self.data / root).rglob("*")]
            if path.is_file() and path.suffix != ".lock"
        }


TABLES = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'table' AND name != 'sqlite_sequence'",
    "postgresql": "SELECT tablename FROM pg_tables WHERE schemaname = 'public'",
}


def login(url: str) -> dict[str, str]:
    config = environ.Env.db_url_config(url)
    return {"host": unquote(config["HOST"]), "user": config["USER"], "dbname": config["NAME"]}


@pytest.fixture(autouse=True)
def _unblocked(django_db_blocker) -> Iterator[None]:
    """Each test brings databases of its own."""
    with django_db_blocker.unblock():
        yield


@pytest.fixture(scope="session")
def database() -> Iterator[Callable[[], str]]:
    """Makes empty databases of PostgreSQL, which go at the end."""
    with postgres_server() as server, ExitStack() as made:
        yield lambda: made.enter_context(own_database(server))


@pytest.fixture(scope="session")
def filled(tmp_path_factory, django_db_blocker, migrated) -> Place:
    """A small shop with a source read in; tests only read it."""
    folder = tmp_path_factory.mktemp("shop")
    place = Place(folder / "data", None)
    copied(migrated, place.data)
    (place.data / "secret.key").write_text("a key\n")
    source = folder / "sources" / "t.csv"
    source.parent.mkdir()
    source.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(5, 400)))
    with django_db_blocker.unblock(), place.here():
        feed = feed_register(name="t", text=feed_text(source), by="test")
        backfill(feed, source, lambda done, of: None)
        shop_made()
    return place


@pytest.fixture(scope="session")
def saved(filled, tmp_path_factory, django_db_blocker) -> Path:
    """Its backup."""
    path = tmp_path_factory.mktemp("saved") / "shop.zip"
    with django_db_blocker.unblock(), filled.here():
        backup_make(path)
    return path


@pytest.fixture
def other(filled, tmp_path) -> Place:
    """A shop like it, to be changed."""
    place = Place(tmp_path / "other", None)
    shutil.copytree(filled.data, place.data)
    with place.connection() as raw:
        raw.execute("DELETE FROM telemetry_event")
        raw.commit()
    return place


@pytest.fixture
def out(tmp_path) -> Path:
    """An empty folder for backups."""
    made = tmp_path / "out"
    made.mkdir()
    return made


@pytest.fixture
def copy(saved, tmp_path) -> Path:
    """The backup, to be spoilt."""
    return Path(shutil.copy(saved, tmp_path / "copy.zip"))
