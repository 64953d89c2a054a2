"""SQLite's write-ahead log is written back beside the commits."""

from __future__ import annotations

import sqlite3
import threading
import time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from telemetry.worker import log


class Ending(threading.Event):
    """Ends after so many turns, without waiting."""

    def __init__(self, turns: int) -> None:
        super().__init__()
        self.turns = turns

    def wait(self, timeout: float | None = None) -> bool:
        self.turns -= 1
        return self.turns < 0


@pytest.fixture
def beside(tmp_path, monkeypatch):
    """A database of its own in place of the one asked, with something in its log."""
    path = tmp_path / "t.sqlite3"
    writer = sqlite3.connect(path)
    writer.execute("PRAGMA journal_mode = WAL")
    writer.execute("PRAGMA wal_autocheckpoint = 0")
    writer.execute("CREATE TABLE t (x)")
    writer.execute("INSERT INTO t VALUES (1)")
    writer.commit()
    opened = []

    class Asked:
        vendor = "sqlite"

        def cursor(self):
            opened.append(sqlite3.connect(path))
            return self

        def __enter__(self):
            return opened[-1].cursor()

        def __exit__(self, *error):
            return False

        def close(self):
            for one in opened:
                one.close()

    monkeypatch.setattr(log, "connection", Asked())
    yield writer, path
    writer.close()


def copied_alone(path) -> list:
    """What the database holds without its log."""
    other = path.with_name("alone.sqlite3")
    other.write_bytes(path.read_bytes())
    with sqlite3.connect(other) as alone:
        found = alone.execute("SELECT name FROM sqlite_master").fetchall()
    alone.close()
    return found


def test_what_was_committed_is_written_back_while_the_writer_stays_open(beside):
    _, path = beside
    assert copied_alone(path) == []
    log.write_back_until(Ending(1))
    assert copied_alone(path) == [("t",)]


def test_a_reader_of_long_ago_does_not_hold_it_up(beside):
    writer, path = beside
    reader = sqlite3.connect(path)
    reader.execute("BEGIN")
    assert reader.execute("SELECT count(*) FROM t").fetchone() == (1,)
    writer.execute("INSERT INTO t VALUES (2)")
    writer.commit()
    began = time.monotonic()
    log.write_back_until(Ending(3))
    assert time.monotonic() - began < 5
    assert reader.execute("SELECT count(*) FROM t").fetchone() == (1,)
    reader.close()


@pytest.mark.django_db
def test_a_commit_writes_the_log_back_only_where_nobody_else_could():
    with CaptureQueriesContext(connection) as asked:
        log.log_alarm(1)
    if connection.vendor != "sqlite":
        assert len(asked) == 0  # a server looks after its own log
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_autocheckpoint")
        assert cursor.fetchone() == (10_000,)
