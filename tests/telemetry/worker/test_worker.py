"""The worker as a process of its own, killed, unplugged, locked out and refused."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import random
import signal
import sqlite3
import subprocess
import sys
import time
import tty
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import unquote
from uuid import uuid4

import pytest

from telemetry.database import ensure_database
from telemetry.description import parse_description
from telemetry.models import Event, Feed, Health
from telemetry.sample import as_json, decode_sample
from telemetry.selectors import feed_status
from telemetry.services import feed_register
from tests.migrated import copied, working_on
from tests.processes import ROOT, environment, manage, manage_json, until
from tests.telemetry import poll_lines
from tests.telemetry.poll_lines import polled_text
from tests.telemetry.stored import stored_arcs
from tests.telemetry.table_lines import feed_text, simulate

pytestmark = pytest.mark.slow

# Rounds of kill -9; a thousand take most of an hour.
ROUNDS = int(os.environ.get("KERFBOOK_KILL_ROUNDS", "12"))
SAME = ("lines", "events", "rejected", "duplicates", "gaps", "stray_offs", "stray_pierces")


class House:
    """A data folder and a database of its own, and the commands in it."""

    def __init__(self, folder: Path, database_url: str | None) -> None:
        self.folder = folder
        self.url = database_url
        more = {"DATABASE_URL": database_url} if database_url else {}
        self.env = environment(folder / "data", **more)
        (folder / "data").mkdir(exist_ok=True)

    def register(self, name: str, text: str) -> None:
        with self.here():
            ensure_database()
            feed_register(name=name, text=text, by="test")

    def here(self) -> contextlib.AbstractContextManager[None]:
        """Inside, this process looks at the house: a command takes a second to start."""
        return working_on(self.folder / "data", self.url)

    def intake(self, *names: str) -> subprocess.Popen:
        command = [sys.executable, str(ROOT / "manage.py"), "intake", *names]
        return subprocess.Popen(
            command, env=self.env, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )

    def status(self, name: str) -> dict:
        with self.here():
            return json.loads(json.dumps(feed_status(Feed.objects.get(name=name))))

    def reads(self, name: str) -> bool:
        """The worker has opened the source and said so."""
        with self.here():
            return Health.objects.filter(feed__name=name, link="open").exists()


@pytest.fixture
def house(tmp_path, migrated, django_db_blocker) -> Iterator[House]:
    url = os.environ.get("DATABASE_URL")
    if not url:
        copied(migrated, tmp_path / "data")
        with django_db_blocker.unblock():
            yield House(tmp_path, None)
        return
    import environ
    import psycopg

    config = environ.Env.db_url_config(url)
    name = f"t_{uuid4().hex[:12]}"
    login = {"host": unquote(config["HOST"]), "user": config["USER"], "dbname": config["NAME"]}
    with psycopg.connect(**login, autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {name}")
    try:
        with django_db_blocker.unblock():
            yield House(tmp_path, url.rpartition("/")[0] + "/" + name)
    finally:
        with psycopg.connect(**login, autocommit=True) as admin:
            admin.execute(f"DROP DATABASE {name} WITH (FORCE)")


@contextlib.contextmanager
def ended(process: subprocess.Popen) -> Iterator[subprocess.Popen]:
    try:
        yield process
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGKILL)
        process.communicate()


def wait_listening(house: House, name: str) -> None:
    from telemetry.locks import is_held

    lock = house.folder / "data" / "journal" / name / "live.lock"
    until(lambda: is_held(lock), within_s=60, what="the worker takes its lock")


def wait_open(house: House, name: str) -> None:
    """The port is open: what was sent before is thrown away with what stood in its buffer."""
    until(lambda: b"!" in journalled(house, name, opened=b"!"), within_s=60, what="the port opens")


def sample_of(text: str, raw: bytes) -> dict:
    description = parse_description(text)
    return as_json(decode_sample(description, [raw]), description)


def arcs_in(house: House) -> list[tuple]:
    with house.here():
        return sorted(stored_arcs())


def arcs_decoded(text: str, raw: bytes) -> list[tuple]:
    pairing = decode_sample(parse_description(text), [raw]).pairing
    return sorted((a.torch, a.on_us, a.off_us, a.ended, a.pierces, a.program) for a in pairing.arcs)


@pytest.mark.long
@pytest.mark.parametrize("polled", [False, True], ids=["events", "polls"])
def test_killed_at_any_instant_a_growing_file_is_stored_once_and_whole(house, tmp_path, polled):
    path = tmp_path / "t.csv"
    path.touch()
    text = polled_text(path) if polled else feed_text(path)
    house.register("t", text)
    if polled:
        lines = [poll.text() for poll in poll_lines.simulate(11, 500 * ROUNDS)]
    else:
        lines = [line.text(numbered=True) + "\n" for line in simulate(11, 500 * ROUNDS)]
    chance = random.Random(11)
    at = 0
    for _ in range(ROUNDS):
        with ended(house.intake("t")) as process:
            wait_listening(house, "t")
            stop = time.monotonic() + chance.uniform(0.0, 0.5)
            while time.monotonic() < stop:
                count = chance.randint(1, 40)
                raw = "".join(lines[at : at + count])
                split = chance.randrange(len(raw) + 1)
                for part in (raw[:split], raw[split:]):
                    with path.open("a") as file:
                        file.write(part)
                    time.sleep(chance.uniform(0, 0.01))
                at += count
            process.send_signal(signal.SIGKILL)
    assert at > 300
    status = manage_json("intake", "t", "--once", env=house.env)["feeds"][0]
    expected = sample_of(text, path.read_bytes())
    assert {name: status[name] for name in SAME} == {name: expected[name] for name in SAME}
    assert arcs_in(house) == arcs_decoded(text, path.read_bytes())


def serial_text(port: str) -> str:
    return feed_text("x").replace(
        'kind = "csv_file"\npath = "x"', f'kind = "serial"\nport = "{port}"'
    )


class Port:
    """The table's end of a pseudo-serial line, under a name that stays when it is re-plugged."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.plug()

    def plug(self) -> None:
        self.master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self._slave))

    def pull(self) -> None:
        os.close(self.master)
        os.close(self._slave)
        self.link.unlink()

    def send(self, text: str) -> None:
        os.write(self.master, text.encode())


def journalled(house: House, name: str, opened: bytes = b"") -> bytes:
    """What is on disk, with `opened` wherever the port was opened."""
    from telemetry.journal import Kind, Record, read

    folder = house.folder / "data" / "journal" / name / "live"
    items = [item for item, _ in read(folder) if isinstance(item, Record)]
    kept = {Kind.DATA: lambda item: item.body, Kind.OPENED: lambda _: opened}
    return b"".join(kept[item.kind](item) for item in items if item.kind in kept)


@pytest.mark.long
def test_killed_at_any_instant_every_acknowledged_line_of_a_port_is_stored_once(house, tmp_path):
    port = Port(tmp_path / "port")
    text = serial_text(str(port.link))
    house.register("t", text)
    lines = simulate(12, 500 * ROUNDS)
    chance = random.Random(12)
    at = 0
    acknowledged: set[int] = set()
    for _ in range(max(ROUNDS * 2 // 3, 1)):
        with ended(house.intake("t")) as process:
            wait_listening(house, "t")
            time.sleep(0.3)
            stop = time.monotonic() + chance.uniform(0.1, 0.6)
            while time.monotonic() < stop:
                port.send("".join(x.text(numbered=True) + "\n" for x in lines[at : at + 5]))
                at += 5
                time.sleep(0.01)
            process.send_signal(signal.SIGKILL)
        # Half a line before the port came back and half a line behind it are no line.
        whole = journalled(house, "t", opened=b"\n").split(b"\n")[:-1]
        acknowledged |= {int(raw.split(b",")[0]) for raw in whole if raw.count(b",") == 4}
        port.pull()
        port.plug()
    assert len(acknowledged) > 100
    once = manage_json("intake", "t", "--once", env=house.env)["feeds"][0]
    with house.here():
        stored = list(Event.objects.values_list("seq", flat=True))
    assert len(stored) == len(set(stored))
    assert acknowledged <= set(stored) | {0}
    assert once["lines"] == once["events"] + once["rejected"] + once["duplicates"]
    before = {name: once[name] for name in SAME}
    arcs = arcs_in(house)
    assert manage("rebuild", env=house.env).returncode == 0
    assert arcs_in(house) == arcs
    assert {name: house.status("t")[name] for name in SAME} == before


def test_a_port_pulled_in_mid_line_and_plugged_in_again_is_read_on(house, tmp_path):
    port = Port(tmp_path / "port")
    house.register("t", serial_text(str(port.link)))
    with ended(house.intake("t")):
        wait_open(house, "t")
        port.send("1,2026-03-10T06:00:00,1,ARC ON,\n2,2026-03-10T06:0")
        until(lambda: b"06:0" in journalled(house, "t"), within_s=10, what="half a line journalled")
        port.pull()
        until(lambda: house.status("t")["state"] == "waiting", within_s=15, what="waiting is shown")
        port.plug()
        until(lambda: house.status("t")["state"] == "alive", within_s=25, what="alive again")
        port.send("0:01,1,AMPS,9\n3,2026-03-10T06:00:09,1,ARC OFF,\n")
        until(lambda: house.status("t")["events"] == 2, within_s=15, what="the line after it")
    status = house.status("t")
    # Four lines: on, two halves that are none, off. The halves are kept, one number is missing.
    assert [status[k] for k in ("events", "rejected", "gaps", "links_lost")] == [2, 2, 1, 1]
    assert status["arc_seconds"] == 9.0


def test_live_lines_are_committed_soon_and_the_window_is_let_go_when_it_is_quiet(house, tmp_path):
    port = Port(tmp_path / "port")
    house.register("t", serial_text(str(port.link)))
    with ended(house.intake("t")) as process:
        wait_open(house, "t")
        now = datetime.now(UTC).replace(tzinfo=None).isoformat(timespec="milliseconds")
        port.send(f"1,{now},1,ARC ON,\n")
        until(lambda: house.status("t")["arcs"] == 1, within_s=10, what="the open arc is shown")
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=10) == 0
    assert house.status("t")["state"] == "off"


def test_a_second_worker_refuses_and_says_why(house, tmp_path):
    (tmp_path / "t.csv").touch()
    house.register("t", feed_text(tmp_path / "t.csv"))
    with ended(house.intake("t")) as first:
        wait_listening(house, "t")
        second = manage("intake", "t", "--once", env=house.env)
        assert second.returncode == 2
        assert second.stderr == f"feed 't' is already being read by process {first.pid}\n"
        first.send_signal(signal.SIGKILL)
        first.wait()
    assert manage("intake", "t", "--once", env=house.env).returncode == 0


@contextlib.contextmanager
def locked_out(house: House) -> Iterator[None]:
    """Holds the lock that a writer of events needs."""
    url = house.env.get("DATABASE_URL")
    if not url:
        locker = sqlite3.connect(house.folder / "data" / "kerfbook.sqlite3", timeout=10)
        locker.execute("BEGIN IMMEDIATE")
        yield
        locker.rollback()
        locker.close()
        return
    import environ
    import psycopg

    config = environ.Env.db_url_config(url)
    login = {"host": unquote(config["HOST"]), "user": config["USER"], "dbname": config["NAME"]}
    with psycopg.connect(**login) as locker:
        locker.execute("LOCK TABLE telemetry_event IN ACCESS EXCLUSIVE MODE")
        yield
        locker.rollback()


def test_a_locked_database_delays_rows_and_loses_nothing(house, tmp_path):
    path = tmp_path / "t.csv"
    path.touch()
    text = feed_text(path)
    house.register("t", text)
    raw = "".join(x.text(numbered=True) + "\n" for x in simulate(13, 500))
    with ended(house.intake("t")):
        wait_listening(house, "t")
        until(lambda: house.reads("t"), within_s=20, what="the worker reads it")
        with locked_out(house):
            path.write_text(raw)
            until(lambda: journalled(house, "t") == raw.encode(), within_s=10, what="journalled")
            assert house.status("t")["events"] == 0
        until(lambda: house.status("t")["lines"] == 500, within_s=30, what="all is stored")
        until(lambda: arcs_in(house) == arcs_decoded(text, raw.encode()), within_s=15, what="pairs")


def test_a_description_changed_while_the_worker_runs_is_taken_up(house, tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("1,2026-03-10T06:00:00,1,ARC ON,\n2,2026-03-10T06:00:07,1,BURN END,\n")
    house.register("t", feed_text(path))
    with ended(house.intake()):
        wait_listening(house, "t")
        until(lambda: house.status("t")["rejected"] == 1, within_s=15, what="the word is refused")
        changed = feed_text(path).replace('["ARC OFF"]', '["ARC OFF", "BURN END"]')
        house.register("t", changed)
        until(lambda: house.status("t")["arc_seconds"] == 7.0, within_s=20, what="it is read again")
        assert house.status("t")["rejected"] == 0
