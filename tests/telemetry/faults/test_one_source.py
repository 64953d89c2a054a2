"""A fault of one source never ends the others. The worker runs as a process of its own, on four
sources of which one is poisoned."""

from __future__ import annotations

import sqlite3

import pytest

from telemetry.services import feed_register
from telemetry.worker import run_once
from tests.processes import manage, until
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text
from tests.telemetry.worker.test_worker import ended, house

__all__ = ["house"]
pytestmark = pytest.mark.slow

NAMES = ("a", "b", "c")


@pytest.fixture
def sources(house, tmp_path):
    """Three sources that have given two lines each."""
    if house.env.get("DATABASE_URL"):
        pytest.skip("the poison is put into an SQLite file")
    paths = {name: tmp_path / f"{name}.csv" for name in NAMES}
    for path in paths.values():
        path.write_text(rows(1, 2))
    with house.here():
        run_once([feed_register(name=n, text=feed_text(path)) for n, path in paths.items()])
    return house


def sql(house, *statements: str) -> None:
    with sqlite3.connect(house.folder / "data" / "kerfbook.sqlite3", timeout=20) as database:
        for statement in statements:
            database.execute(statement)
    database.close()


def asked(house, query: str) -> dict[str, tuple]:
    """Rows by name, straight from the file: a command takes seconds to start."""
    with sqlite3.connect(house.folder / "data" / "kerfbook.sqlite3", timeout=20) as database:
        found = {row[0]: row[1:] for row in database.execute(query)}
    database.close()
    return found


def events(house) -> dict[str, int]:
    query = "SELECT name, events FROM telemetry_feed f JOIN telemetry_cursor ON feed_id = f.id"
    return {name: row[0] for name, row in asked(house, query).items()}


def links(house) -> dict[str, tuple[str, str]]:
    query = (
        "SELECT name, link, message FROM telemetry_feed f JOIN telemetry_health ON feed_id = f.id"
    )
    return asked(house, query)


def bad_description(house):
    sql(house, "UPDATE telemetry_feedversion SET text = 'nonsense = ' WHERE feed_id = 2")


def no_description(house):
    sql(house, "DELETE FROM telemetry_feedversion WHERE feed_id = 2")


def cursor_that_makes_no_sense(house):
    sql(house, """UPDATE telemetry_cursor SET state = '{"version": 1}' WHERE feed_id = 2""")


def unreadable_segment(house):
    folder = house.folder / "data" / "journal" / "b" / "live"
    for path in folder.glob("*.journal"):
        path.unlink()
        path.mkdir()


def rows_that_the_database_refuses(house):
    sql(
        house,
        "CREATE TRIGGER poison BEFORE INSERT ON telemetry_event WHEN NEW.feed_id = 2 "
        "BEGIN SELECT RAISE(ABORT, 'not these rows'); END",
    )


@pytest.mark.parametrize(
    ("poison", "reason"),
    [
        (bad_description, "version 1:1"),
        (no_description, "FeedVersion"),
        (cursor_that_makes_no_sense, "decoder"),
        (unreadable_segment, "Is a directory"),
        (rows_that_the_database_refuses, "not these rows"),
    ],
)
def test_a_poisoned_source_is_shown_with_its_reason_and_the_others_go_on(
    sources, tmp_path, poison, reason
):
    house = sources
    poison(house)
    with ended(house.intake()) as process:
        for name in NAMES:
            with (tmp_path / f"{name}.csv").open("a") as file:
                file.write(rows(3, 9))
        until(
            lambda: [events(house)[name] for name in ("a", "c")] == [9, 9],
            within_s=60, what="the others go on",
        )  # fmt: skip
        until(lambda: links(house)["b"][0] == "failed", within_s=30, what="it is shown")
        assert reason in links(house)["b"][1]
        assert process.poll() is None
        # More comes; the others take it while the poisoned one is tried again and again.
        for name in ("a", "c"):
            with (tmp_path / f"{name}.csv").open("a") as file:
                file.write(rows(10, 20))
        until(
            lambda: [events(house)[name] for name in ("a", "c")] == [20, 20],
            within_s=60, what="the others go on later too",
        )  # fmt: skip
    once = manage("intake", "--once", env=house.env)
    assert once.returncode == 2
    assert "Traceback" not in once.stderr.splitlines()[-1]


def test_once_the_poison_is_gone_the_source_catches_up_by_itself(sources, tmp_path):
    house = sources
    rows_that_the_database_refuses(house)
    with ended(house.intake()):
        with (tmp_path / "b.csv").open("a") as file:
            file.write(rows(3, 9))
        until(lambda: links(house)["b"][0] == "failed", within_s=60, what="it is shown")
        sql(house, "DROP TRIGGER poison")
        until(lambda: events(house)["b"] == 9, within_s=60, what="it catches up")
        until(lambda: links(house)["b"][0] == "open", within_s=30, what="it is well")


def test_a_source_taken_away_while_it_is_read_ends_no_other(sources, tmp_path):
    house = sources
    with ended(house.intake("a", "b", "c")) as process:
        until(lambda: links(house)["c"][0] == "open", within_s=60, what="all are read")
        tables = ("feedversion", "clockoffset", "cursor", "health", "sourceposition", "arc",
                  "stray", "rollup", "gap", "alarm", "reject", "repeat")  # fmt: skip
        sql(
            house,
            *(f"DELETE FROM telemetry_{table} WHERE feed_id = 2" for table in tables),
            "DELETE FROM telemetry_feed WHERE id = 2",
        )
        for name in NAMES:
            with (tmp_path / f"{name}.csv").open("a") as file:
                file.write(rows(3, 9))
        until(
            lambda: [events(house)[name] for name in ("a", "c")] == [9, 9],
            within_s=60, what="the others go on",
        )  # fmt: skip
        assert process.poll() is None


def test_a_source_another_process_reads_does_not_keep_one_from_reading_the_rest(sources, tmp_path):
    house = sources
    with ended(house.intake("b")) as first:
        until(lambda: links(house)["b"][0] == "open", within_s=60, what="b is read")
        with ended(house.intake()) as second:
            with (tmp_path / "a.csv").open("a") as file:
                file.write(rows(3, 9))
            until(lambda: events(house)["a"] == 9, within_s=60, what="a is read")
            first.kill()
            first.wait()
            with (tmp_path / "b.csv").open("a") as file:
                file.write(rows(3, 9))
            until(lambda: events(house)["b"] == 9, within_s=60, what="b taken over")
            assert second.poll() is None
