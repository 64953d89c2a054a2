"""The served stack in small: PostgreSQL, Redis, the web process, intake and a Celery worker, each
its own process, told apart from the embedded one by the environment alone."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest

from shopfloor.models import Work
from tests.migrated import working_on
from tests.processes import ROOT, environment, free_port, get, manage, manage_json, running, until
from tests.servers import redis

pytestmark = [pytest.mark.served, pytest.mark.slow]

FEED = """\
table = "north"
torch = "1"
[source]
kind = "csv_file"
path = "{path}"
[line]
format = "columns"
separator = ","
columns = ["seq", "time", "signal", "value"]
[time]
from = "line"
format = "iso"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
"""
LINES = """\
1,2026-10-08T11:00:00Z,ARC ON,
2,2026-10-08T11:00:01Z,PIERCE,
3,2026-10-08T11:00:30Z,ARC OFF,
4,2026-10-08T11:01:00Z,ARC ON,
5,2026-10-08T11:01:45Z,ARC OFF,
"""
NEST_WORK = """
import threading
from shopfloor.background.request import request_work
request_work(kind="nest", key="0")
# On a busy machine the message may still be on its way, and no sweep runs here.
[thread.join(60) for thread in threading.enumerate() if thread.name == "wake"]
"""

MANY_ROWS = """
import time
from shopfloor.models import Work
from shopfloor.background.request import request_work
Work.objects.filter(kind="none").delete()
began = time.monotonic()
for number in range(200):
    request_work(kind="none", key=str(number))
print(Work.objects.filter(kind="none").count(), time.monotonic() - began)
"""


def test_saving_goes_on_while_redis_is_stopped(tmp_path: Path, migrated_postgres):
    with redis() as broker:
        pass
    if "KERFBOOK_TEST_REDIS" in os.environ:  # others' server goes on; nobody listens there
        broker = f"redis+socket://{tmp_path}/stopped.sock"
    with migrated_postgres() as database:
        env = environment(tmp_path / "data", DATABASE_URL=database, REDIS_URL=broker)
        done = manage("shell", "-v0", "-c", MANY_ROWS, env=env)
    rows, seconds = done.stdout.split()
    assert int(rows) == 200
    assert float(seconds) < 20  # a try a row took over half a second each
    assert done.stderr.count("work waits for the sweep") <= 2


def test_the_same_program_runs_on_postgresql_and_redis(
    tmp_path: Path, migrated_postgres, django_db_blocker
):
    feed, source = tmp_path / "north.toml", tmp_path / "north.csv"
    source.write_text(LINES)
    feed.write_text(FEED.format(path=source))
    with migrated_postgres() as database, redis() as broker:
        port = free_port()
        env = environment(
            tmp_path / "data",
            DATABASE_URL=database,
            REDIS_URL=broker,
            KERFBOOK_HOSTS="127.0.0.1",
        )
        assert manage("addfeed", "north", str(feed), env=env).returncode == 0
        for _ in range(2):
            done = manage("backfill", "north", str(source), env=env)
            assert done.returncode == 0, done.stderr
        (told,) = manage_json("status", env=env)["feeds"]
        # by hand: 30 s and 45 s of arc, one pierce line
        assert (told["arcs"], told["arc_seconds"], told["pierces"]) == (2, 75.0, 1)
        web = [sys.executable, str(ROOT / "manage.py"), "web", "--port", str(port)]
        worker = [sys.executable, "-m", "celery", "-A", "shopfloor", "worker", "-P", "solo"]
        assert manage("shell", "-v0", "-c", NEST_WORK, env=env).returncode == 0
        with (
            running(web, env, tmp_path / "web.log"),
            running(worker, env, tmp_path / "worker.log"),
        ):
            _, body = until(
                lambda: get(f"http://127.0.0.1:{port}/healthz"), within_s=60, what="healthz answers"
            )
            assert json.loads(body)["status"] == "ok"

            def touched() -> bool:
                with django_db_blocker.unblock(), working_on(tmp_path / "data", database):
                    rows = list(Work.objects.values_list("state", "attempts"))
                return bool(rows) and ("waiting", 0) not in rows

            until(touched, within_s=60, what="the worker took the row")
