"""Faults of the database: numbers 8, 9 and 36."""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3

import pytest
from django.db import OperationalError

from telemetry.services import feed_register
from telemetry.worker import lane_runner, run_once
from tests.processes import manage, manage_json
from tests.telemetry.faults.oracles import SAME, alive, conserved
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text, simulate
from tests.telemetry.worker.test_worker import arcs_decoded, arcs_in, house, sample_of

__all__ = ["house"]


@pytest.mark.django_db
@pytest.mark.parametrize("which", [1, 2, 3])
def test_08_a_commit_whose_answer_is_lost_is_replayed_without_a_double(
    tmp_path, monkeypatch, which
):
    path = tmp_path / "t.csv"
    path.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(which, 200)))
    feed = feed_register(name="t", text=feed_text(path), by="test")
    real, calls = lane_runner.commit, []

    def commit(*args, **more):
        real(*args, **more)
        calls.append(1)
        if len(calls) == which:
            raise OperationalError("server closed the connection unexpectedly")

    monkeypatch.setattr(lane_runner, "commit", commit)
    lost = 0
    for _ in range(5):
        with contextlib.suppress(OperationalError):
            run_once([feed])
            lost -= 1
        lost += 1
        with path.open("a") as file:
            file.write("x\n")
    assert lost == 1
    run_once([feed])
    monkeypatch.undo()
    conserved(feed, path.read_bytes())
    alive(feed, path, rows(999, 999))


def test_08_the_same_storing_goes_on_by_itself(tmp_path, monkeypatch, db):
    path = tmp_path / "t.csv"
    path.write_text(rows(1, 50))
    feed = feed_register(name="t", text=feed_text(path), by="test")
    real, lost = lane_runner.commit, [True]

    def commit(*args, **more):
        real(*args, **more)
        if lost:
            lost.pop()
            raise OperationalError("the answer was lost")

    run_once([feed])
    conserved(feed, path.read_bytes())
    with path.open("a") as file:
        file.write(rows(51, 90))
    monkeypatch.setattr(lane_runner, "commit", commit)
    real_step = lane_runner.LaneRunner.step

    def step(self, until=None):
        try:
            return real_step(self, until)
        except OperationalError:
            return True  # as the worker does: the same step again

    monkeypatch.setattr(lane_runner.LaneRunner, "step", step)
    run_once([feed])
    assert not lost
    conserved(feed, path.read_bytes())


PINNED = """
import json, sqlite3
from django.db import connection
from telemetry.models import Alarm, Feed
from telemetry.worker.backfill import backfill
from telemetry.worker import log
from pathlib import Path
log.LIMIT_BYTES = 200_000
name = connection.settings_dict["NAME"]
size = lambda: Path(f"{{name}}-wal").stat().st_size
open_alarms = lambda: list(Alarm.objects.filter(cleared_us=None).values_list("code", flat=True))
reader = sqlite3.connect(name)
reader.execute("BEGIN"); reader.execute("SELECT count(*) FROM telemetry_feed").fetchone()
backfill(Feed.objects.get(), Path({path!r}), lambda done, of: None)
log.log_alarm(1); pinned = size(), open_alarms()
log.log_alarm(2); again = Alarm.objects.count()
reader.rollback(); reader.close()
log.log_alarm(3); log.log_alarm(4)
Feed.objects.update(enabled=True)
print(json.dumps([pinned, again, size(), open_alarms(), Feed.objects.get().cursors.get().events]))
"""


@pytest.mark.slow
def test_09_a_log_pinned_by_a_long_reader_is_an_alarm_until_it_could_be_written_back(
    house, tmp_path
):
    if house.env.get("DATABASE_URL"):
        pytest.skip("readers pin no log of PostgreSQL")
    path = tmp_path / "t.csv"
    path.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(9, 6000)))
    house.register("t", feed_text(path))
    done = manage("shell", "-v", "0", "-c", PINNED.format(path=str(path)), env=house.env)
    assert done.returncode == 0, done.stderr
    (grown, pinned), alarms, after, standing, events = json.loads(done.stdout)
    assert grown > 200_000
    assert pinned == ["log pinned"]
    assert alarms == 1
    assert after < grown
    assert standing == []
    assert events == 6000


@pytest.mark.slow
def test_36_a_database_put_back_from_a_backup_catches_up_from_the_journal(house, tmp_path):
    if house.env.get("DATABASE_URL"):
        pytest.skip("the backup here is a copy of the file")
    path, text = tmp_path / "t.csv", feed_text(tmp_path / "t.csv")
    house.register("t", text)
    lines = [x.text(numbered=True) + "\n" for x in simulate(36, 900)]
    path.write_text("".join(lines[:300]))
    manage_json("intake", "t", "--once", env=house.env)
    database = house.folder / "data" / "kerfbook.sqlite3"
    backup = sqlite3.connect(tmp_path / "backup.sqlite3")
    live = sqlite3.connect(database)
    live.backup(backup)
    live.close()
    backup.close()
    with path.open("a") as file:
        file.write("".join(lines[300:600]))
    manage_json("intake", "t", "--once", env=house.env)
    for end in ("-wal", "-shm"):
        database.with_name(database.name + end).unlink(missing_ok=True)
    shutil.copy(tmp_path / "backup.sqlite3", database)
    with path.open("a") as file:
        file.write("".join(lines[600:]))
    status = manage_json("intake", "t", "--once", env=house.env)["feeds"][0]
    raw = path.read_bytes()
    expected = sample_of(text, raw)
    assert {name: status[name] for name in SAME} == {name: expected[name] for name in SAME}
    assert arcs_in(house) == arcs_decoded(text, raw)


@pytest.mark.django_db
def test_36_a_feed_changed_in_mid_stream_reads_on_and_a_rebuild_gives_the_same(tmp_path):
    from telemetry.models import Arc
    from telemetry.worker.rebuild import rebuild

    path = tmp_path / "t.csv"
    lines = [x.text(numbered=True) + "\n" for x in simulate(37, 200)]
    path.write_text("".join(lines[:100]))
    feed = feed_register(name="t", text=feed_text(path), by="test")
    run_once([feed])
    feed = feed_register(name="t", text=feed_text(path, window_s=5.0), by="test")
    with path.open("a") as file:
        file.write("".join(lines[100:]))
    run_once([feed])
    conserved(feed, path.read_bytes())
    arcs = sorted(Arc.objects.values_list("key", "off_us"))
    rebuild(feed)
    assert sorted(Arc.objects.values_list("key", "off_us")) == arcs
    conserved(feed, path.read_bytes())
