"""The host's clock set by two hours, either way, while intake runs. The worker is a process of its
own whose wall clock is moved by a file."""

from __future__ import annotations

import json
import sqlite3
import time

import pytest

from telemetry.selectors import feed_health
from tests.processes import manage, until
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text
from tests.telemetry.worker.test_worker import ended, house

__all__ = ["house"]

SHIM = """
import time
_real, _real_ns = time.time, time.time_ns
def _moved():
    try:
        with open({file!r}) as file:
            return int(file.read() or 0)
    except OSError:
        return 0
time.time = lambda: _real() + _moved()
time.time_ns = lambda: _real_ns() + _moved() * 10**9
"""


@pytest.fixture
def clock(house, tmp_path):
    """Sets the clock of every process of the house by so many seconds."""
    file = tmp_path / "moved"
    shims = tmp_path / "shims"
    shims.mkdir()
    (shims / "sitecustomize.py").write_text(SHIM.format(file=str(file)))
    house.env["PYTHONPATH"] = str(shims)

    def move(seconds: int) -> None:
        fresh = file.with_suffix(".new")
        fresh.write_text(str(seconds))
        fresh.replace(file)

    return move


def shown(house) -> dict:
    done = manage("status", "--json", env=house.env)
    assert done.returncode == 0, done.stderr
    return {row["name"]: row for row in json.loads(done.stdout)["feeds"]}


def asked(house, query: str) -> list[tuple]:
    """Straight from the file: a command takes seconds to start."""
    with sqlite3.connect(house.folder / "data" / "kerfbook.sqlite3", timeout=20) as database:
        found = database.execute(query).fetchall()
    database.close()
    return found


def beat_us(house) -> int:
    query = "SELECT beat_us FROM telemetry_health h JOIN telemetry_feed f ON f.id = feed_id"
    return asked(house, f"{query} WHERE name = 'a'")[0][0]


def events(house) -> dict[str, int]:
    query = "SELECT name, events FROM telemetry_feed f JOIN telemetry_cursor ON feed_id = f.id"
    return dict(asked(house, query))


@pytest.mark.long
@pytest.mark.parametrize("by_s", [-7200, 7200])
def test_31_heartbeat_alarms_and_new_sources_go_on_when_the_clock_is_set(
    house, clock, tmp_path, by_s
):
    if house.env.get("DATABASE_URL"):
        pytest.skip("it looks into an SQLite file")
    (tmp_path / "a.csv").write_text(rows(1, 5))
    house.register("a", feed_text(tmp_path / "a.csv"))
    with ended(house.intake()):
        until(lambda: events(house).get("a") == 5, within_s=60, what="a is read")
        until(lambda: beat_us(house), within_s=60, what="it beats")
        clock(by_s)
        until(
            lambda: abs(beat_us(house) / 1e6 - time.time() - by_s) < 12,
            within_s=40, what="it beats by the new clock",
        )  # fmt: skip
        # A line that comes is stored, a source that is new is taken up, the step is an alarm.
        with (tmp_path / "a.csv").open("a") as file:
            file.write(rows(6, 9))
        (tmp_path / "b.csv").write_text(rows(1, 3))
        house.register("b", feed_text(tmp_path / "b.csv"))
        until(lambda: events(house)["a"] == 9, within_s=30, what="lines of a")
        until(lambda: events(house).get("b") == 3, within_s=40, what="b is taken up")
        assert shown(house)["a"]["state"] == "alive"
        said = str(asked(house, "SELECT code, message FROM telemetry_alarm"))
        way = "forward" if by_s > 0 else "back"
        assert f"clock went {way} by 7200 s" in said


@pytest.mark.django_db
def test_31_a_source_is_no_less_silent_for_a_clock_that_was_set_back(tmp_path, monkeypatch):
    from telemetry.models import Cursor, Health
    from telemetry.services import feed_register

    feed = feed_register(name="a", text=feed_text(tmp_path / "a.csv"), by="test")
    monkeypatch.setattr("telemetry.selectors.is_held", lambda path: True)
    minute, now = 60_000_000, 1_773_000_000_000_000
    Cursor.objects.create(feed=feed, lane="live", last_line_us=now + 100 * minute)
    health = Health.objects.create(
        feed=feed, link="open", since_us=now - 30 * minute, beat_us=now,
        last_byte_us=now - 11 * minute,
    )  # fmt: skip
    found = feed_health(feed, now)
    assert (found.state, found.since_us) == ("silent", now - 11 * minute)
    Health.objects.update(last_byte_us=now - 9 * minute)
    assert feed_health(feed, now).state == "alive"
    # Nothing was heard since the worker began, under the clock of before.
    Health.objects.update(last_byte_us=None)
    assert feed_health(feed, now).state == "silent"
    # A beat of the future is none of a worker that lives: it would have beaten since.
    Health.objects.filter(pk=health.pk).update(beat_us=now + 100 * minute)
    found = feed_health(feed, now)
    assert (found.state, found.since_us) == ("off", now)


@pytest.mark.django_db
def test_31_the_age_of_the_intake_is_unknown_when_it_last_lived_under_a_later_clock(tmp_path):
    from shopfloor.sources.queries import intake_age_s
    from telemetry.models import Health
    from telemetry.services import feed_register

    feed = feed_register(name="a", text=feed_text(tmp_path / "a.csv"), by="test")
    ahead_us = int((time.time() + 7200) * 1e6)
    Health.objects.create(feed=feed, link="open", since_us=0, beat_us=ahead_us)
    assert intake_age_s() is None
    Health.objects.update(beat_us=ahead_us - 7_205_000_000)
    assert 5 <= intake_age_s() < 15


def test_31_an_instant_is_told_by_the_clock_of_now():
    from telemetry.clockwatch import as_of_now

    seen = (1_000_000_000, 50_000_000)
    assert as_of_now(seen, (1_060_000_000, 110_000_000)) == 1_000_000_000
    assert as_of_now(seen, (1_060_400_000, 110_000_000)) == 1_000_000_000  # drift
    assert as_of_now(seen, (1_060_000_000 - 7_200_000_000, 110_000_000)) == -6_200_000_000
    assert as_of_now(seen, (1_060_000_000 + 7_200_000_000, 110_000_000)) == 8_200_000_000
