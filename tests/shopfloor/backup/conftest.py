"""Shops on either database, made by the real commands and read by the databases' own libraries."""

from __future__ import annotations

import json
import shutil
import sqlite3
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote
from uuid import uuid4

import pytest

from tests.processes import environment, manage
from tests.servers import postgres
from tests.telemetry.table_lines import feed_text, simulate

# Every sign that could break a line of text, every kind of column, and a number used and gone.
SHOP = textwrap.dedent(r"""
    import sys
    from datetime import UTC, date, datetime
    from django.utils import timezone
    from shopfloor.acting import acting
    from shopfloor.importing.stored import upload_keep
    from shopfloor.models import *
    odd = "a\tb\\N\n\\.\r\\x41 \u00e9\u20ac\U0001f525 'quoted' \"too\""
    with acting("user:ann", why="set up"):
        Shop.objects.create(name=odd, remnant_factor=0.1 + 0.2, scrap_minor_kg=None)
        table = Table.objects.create(code="west", name="West", order=9)
        Torch.objects.create(table=table, code="1")
        ann = User.objects.create(username="ann", badge="", role="owner")
        User.objects.create(username="ben", badge=None, last_login=timezone.now())
        gone = User.objects.create(username="gone")
        gone.delete()
        Rate.objects.create(kind="machine", amount_minor=-2**40, valid_from=date(2026, 1, 31))
        at = datetime(2026, 3, 29, 1, 30, 0, 480000, tzinfo=UTC)
        Action.objects.create(
            kind="note", payload={"odd": odd, "n": [1, 2.5, None, True]}, person=ann,
            device_at=at, at=at.replace(microsecond=0),
        )
    upload_keep(odd.encode() * 100)
    """)


@dataclass
class Place:
    """A data folder with its database."""

    data: Path
    url: str | None

    @property
    def env(self) -> dict[str, str]:
        return environment(self.data, **({"DATABASE_URL": self.url} if self.url else {}))

    def manage(self, *words: str, status: int = 0, timeout: float = 120) -> str:
        """What the command said: its output where it went well, else its error."""
        done = manage(*words, env=self.env, timeout=timeout)
        assert done.returncode == status, done.stdout + done.stderr
        return done.stderr if status else done.stdout

    def json(self, *words: str) -> dict:
        return json.loads(self.manage(*words, "--json"))

    def rows(self) -> dict[str, list[str]]:
        """All rows of all tables as text, sorted, by the database's own library."""
        with self.connection() as raw:
            names = raw.execute(TABLES["postgresql" if self.url else "sqlite"]).fetchall()
            return {
                name: sorted(repr(row) for row in raw.execute(f'SELECT * FROM "{name}"').fetchall())
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

    def fill(self, folder: Path, *, lines: int = 400) -> None:
        """A small shop with a source read in."""
        folder.mkdir(parents=True, exist_ok=True)
        source = folder / "t.csv"
        source.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(5, lines)))
        (folder / "t.toml").write_text(feed_text(source))
        self.manage("migrate", "-v", "0")
        self.manage("addfeed", "t", str(folder / "t.toml"))
        self.manage("backfill", "t", str(source))
        self.manage("shell", "-v", "0", "-c", SHOP)


TABLES = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'table' AND name != 'sqlite_sequence'",
    "postgresql": "SELECT tablename FROM pg_tables WHERE schemaname = 'public'",
}


def login(url: str) -> dict[str, str]:
    import environ

    config = environ.Env.db_url_config(url)
    return {"host": unquote(config["HOST"]), "user": config["USER"], "dbname": config["NAME"]}


@pytest.fixture(scope="session")
def server() -> Iterator[Callable[[], str]]:
    """Makes empty databases, which go at the end."""
    import psycopg

    made: list[str] = []
    with postgres() as url:

        def make() -> str:
            made.append(f"kb_backup_{uuid4().hex[:12]}")
            with psycopg.connect(**login(url), autocommit=True) as admin:
                admin.execute(f"CREATE DATABASE {made[-1]}")
            return f"{url.rpartition('/')[0]}/{made[-1]}"

        yield make
        with psycopg.connect(**login(url), autocommit=True) as admin:
            for name in made:
                admin.execute(f"DROP DATABASE {name} WITH (FORCE)")


SERVED = pytest.param("postgresql", marks=pytest.mark.served)


@pytest.fixture(scope="session", params=["sqlite", SERVED])
def kind(request) -> str:
    return request.param


@pytest.fixture
def empty(kind, request, tmp_path) -> Callable[[], Place]:
    """Makes places with nothing in them."""

    def make(of: str = kind) -> Place:
        url = request.getfixturevalue("server")() if of == "postgresql" else None
        return Place(tmp_path / f"place-{uuid4().hex[:8]}", url)

    return make


@pytest.fixture(scope="session")
def filled(kind, request, tmp_path_factory) -> Place:
    """A small shop; tests only read it."""
    folder = tmp_path_factory.mktemp("shop")
    url = request.getfixturevalue("server")() if kind == "postgresql" else None
    place = Place(folder / "data", url)
    place.fill(folder)
    return place


@pytest.fixture(scope="session")
def saved(filled, tmp_path_factory) -> Path:
    """Its backup."""
    path = tmp_path_factory.mktemp("saved") / "shop.zip"
    filled.manage("backup", str(path))
    return path


@pytest.fixture
def copy(saved, tmp_path) -> Path:
    """The backup, to be spoilt."""
    return Path(shutil.copy(saved, tmp_path / "copy.zip"))
