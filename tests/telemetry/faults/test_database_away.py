"""Intake started while its database is away reads all the same, and stores once it comes."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from urllib.parse import quote

import pytest

from tests.processes import until
from tests.servers import missing
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text
from tests.telemetry.worker.test_worker import House, Port, ended, journalled, serial_text

pytestmark = [pytest.mark.long, pytest.mark.served]


class Server:
    """A PostgreSQL of this test's own, on a socket in a folder, that can be away."""

    def __init__(self) -> None:
        found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
        if not found:
            missing("PostgreSQL (apt-get install postgresql)")
        self.bin = found[-1].parent
        self.folder = Path(tempfile.mkdtemp(prefix="kb-pg-"))
        self.user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self.user:
            shutil.chown(self.folder, "postgres")
        self.data = self.folder / "data"
        self._run(self.bin / "initdb", "-D", self.data, "-U", "postgres", "-A", "trust",
                  "--no-locale", "-E", "UTF8", "--no-sync")  # fmt: skip
        self.url = f"postgres://postgres@{quote(str(self.folder), safe='')}/postgres"

    def _run(self, *words) -> None:
        # No pipes: the server would hold them open.
        subprocess.run([*self.user, *map(str, words)], check=True, stdout=subprocess.DEVNULL)

    def up(self) -> None:
        options = f"-c listen_addresses='' -k {self.folder} -c fsync=off"
        self._run(self.bin / "pg_ctl", "-D", self.data, "-w", "-l", self.folder / "log",
                  "-o", options, "start")  # fmt: skip

    def down(self) -> None:
        self._run(self.bin / "pg_ctl", "-D", self.data, "-w", "-m", "immediate", "stop")


@pytest.fixture
def server(django_db_blocker):
    made = Server()
    made.up()
    try:
        with django_db_blocker.unblock():
            yield made
    finally:
        subprocess.run(
            [*made.user, made.bin / "pg_ctl", "-D", made.data, "-m", "immediate", "stop"],
            check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        shutil.rmtree(made.folder, ignore_errors=True)


def events(server, name: str) -> int:
    """Asked for in SQL: a command takes seconds to start. 0 while nothing is there."""
    import psycopg

    query = (
        "SELECT coalesce(sum(events), 0) FROM telemetry_cursor c "
        "JOIN telemetry_feed f ON f.id = c.feed_id WHERE name = %s"
    )
    try:
        login = {"host": str(server.folder), "user": "postgres", "dbname": "postgres"}
        with psycopg.connect(**login) as database:
            return int(database.execute(query, [name]).fetchone()[0])
    except psycopg.Error:
        return 0


def numbered(first: int, last: int) -> str:
    return rows(first, last).replace(",1,PIERCE,", ",1,PIERCE,x")


def test_07_a_port_and_a_file_are_read_while_the_server_is_away_and_stored_when_it_comes(
    server, tmp_path
):
    house = House(tmp_path, server.url)
    port, file = Port(tmp_path / "port"), tmp_path / "f.csv"
    file.write_text(numbered(1, 4))
    house.register("p", serial_text(str(port.link)))
    house.register("f", feed_text(file))
    with ended(house.intake()):
        until(lambda: opened(house, "p") == 1, within_s=90, what="the port is open")
        port.send(numbered(1, 5))
        until(lambda: events(server, "p") == 5, within_s=60, what="lines of before")
        until(lambda: events(server, "f") == 4, within_s=60, what="and of the file")
    server.down()
    with ended(house.intake()) as process:
        until(lambda: opened(house, "p") == 2, within_s=60, what="the port is open")
        port.send(numbered(6, 20))
        with file.open("a") as more:
            more.write(numbered(5, 30))
        until(lambda: b"20,2026" in journalled(house, "p"), within_s=60, what="journalled")
        until(lambda: b"30,2026" in journalled(house, "f"), within_s=60, what="and the file")
        server.up()
        until(lambda: events(server, "p") == 20, within_s=60, what="it is stored")
        until(lambda: events(server, "f") == 30, within_s=60, what="and the file")
        # The same opening of the port goes on: nothing is missed in between.
        port.send(numbered(21, 22))
        until(lambda: events(server, "p") == 22, within_s=60, what="it goes on")
        assert opened(house, "p") == 2
        assert process.poll() is None
    for name, lines in (("p", 22), ("f", 30)):
        status = house.status(name)
        assert (status["lines"], status["duplicates"], status["rejected"]) == (lines, 0, 0)


def opened(house, name: str) -> int:
    from telemetry.journal import Kind, Record, read

    items = read(house.folder / "data" / "journal" / name / "live")
    return sum(isinstance(item, Record) and item.kind is Kind.OPENED for item, _ in items)


def test_07_a_description_changed_meanwhile_comes_into_force_behind_what_was_read(server, tmp_path):
    house = House(tmp_path, server.url)
    file = tmp_path / "f.csv"
    file.write_text(numbered(1, 4))
    house.register("f", feed_text(file))
    with ended(house.intake()):
        until(lambda: events(server, "f") == 4, within_s=60, what="lines of before")
    house.register("f", feed_text(file, window_s=7.0))
    server.down()
    with ended(house.intake()):
        with file.open("a") as more:
            more.write(numbered(5, 30))
        until(lambda: b"30,2026" in journalled(house, "f"), within_s=60, what="journalled")
        server.up()
        until(lambda: events(server, "f") == 30, within_s=60, what="it is stored")
        with file.open("a") as more:
            more.write(numbered(31, 40))
        until(lambda: events(server, "f") == 40, within_s=60, what="it goes on")
    status = house.status("f")
    assert (status["lines"], status["duplicates"], status["rejected"]) == (40, 0, 0)
