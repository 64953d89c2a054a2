"""Backups taken while a file is read in at full speed, killed at random instants, on full disks."""

from __future__ import annotations

import contextlib
import fcntl
import os
import random
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest

from shopfloor.backup import folder, swap
from shopfloor.backup.archive import BackupError, reading
from shopfloor.backup.make import backup_make
from shopfloor.backup.restore import restore
from telemetry.journal import read
from telemetry.journal.segments import pack
from telemetry.models import Cursor, Event, Feed
from telemetry.paths import journal_folder
from telemetry.services import feed_register
from telemetry.worker.backfill import backfill
from telemetry.worker.rebuild import rebuild
from tests.processes import ROOT, manage, until
from tests.shopfloor.backup.conftest import Place
from tests.telemetry.stored import everything
from tests.telemetry.table_lines import feed_text, simulate

NOW = datetime(2026, 11, 30, 5, 40, tzinfo=UTC)


def started(place: Place, *words: str) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), *words], env=place.env, cwd=ROOT,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.served)])
def busy(request, tmp_path) -> Place:
    """A shop on either database, about to read a file."""
    if request.param == "sqlite":
        return request.getfixturevalue("other")
    place = Place(tmp_path / "served", request.getfixturevalue("database")())
    with place.here():
        restore(request.getfixturevalue("saved"))
    return place


@pytest.mark.long
def test_a_backup_of_a_shop_that_reads_a_file_agrees_with_its_journal(busy, tmp_path):
    """Of what was restored the journal reaches at least as far as the cursor, a rebuild gives the
    rows that are there, and reading the file once more gives what the whole shop has."""
    source = tmp_path / "sources" / "big.csv"
    source.parent.mkdir()
    source.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(6, 60_000)))
    found: dict[int, Path] = {}
    with busy.here():
        Event.objects.all()._raw_delete("default")
        feed_register(name="big", text=feed_text(source), by="test")
        running = started(busy, "backfill", "big", str(source))
        while running.poll() is None:
            path = tmp_path / f"{len(found)}.zip"
            backup_make(path)
            found[events_in(path)] = path
        assert running.returncode == 0
        whole = everything()
    half = [count for count in sorted(found) if 0 < count < 60_000] or sorted(found)
    place = Place(tmp_path / "new", None)
    with place.here():
        restore(found[half[0]])
        for row in Cursor.objects.select_related("feed"):
            items = list(read(journal_folder(row.feed.name, row.lane)))
            assert items[-1][1].sequence >= row.sequence
        before, feed = everything(), Feed.objects.get(name="big")
        rebuild(feed)
        assert everything() == before
        backfill(feed, source, lambda done, of: None)
        assert everything()["events"] == whole["events"]
        assert everything()["arcs"] == whole["arcs"]
    assert len(whole["events"]) > 50_000


def events_in(path: Path) -> int:
    with zipfile.ZipFile(path) as archive:
        return archive.read("tables/telemetry_event.copy").count(b"\n")


@pytest.mark.long
def test_killed_at_any_instant_a_backup_is_there_whole_or_not_at_all(other, out):
    path, chance = out / "b.zip", random.Random(3)
    for _ in range(5):
        running = started(other, "backup", str(path))
        begun(running, out)
        time.sleep(chance.uniform(0, 0.3))
        running.send_signal(chance.choice([signal.SIGKILL, signal.SIGTERM]))
        running.wait()
        assert {one.name for one in out.iterdir()} <= {"b.zip", ".b.zip.part"}
        if path.exists():
            with reading(path) as backup:
                assert len(backup.entries()) > 50
            path.unlink()
    with other.here():
        backup_make(path)
    assert list(out.iterdir()) == [path]


def begun(process: subprocess.Popen, folder: Path) -> None:
    until(
        lambda: process.poll() is not None or list(folder.iterdir()), within_s=120, what="a draft"
    )


class Killed(BaseException):
    """Stands for a kill: nothing that comes after is done."""


@pytest.mark.long
@pytest.mark.parametrize("at", range(10))
def test_a_swap_killed_between_any_two_renames_is_finished_later(
    filled, saved, other, monkeypatch, at
):
    """The new shop lies ready beside; the swap is killed before its n-th rename, then goes on."""
    before, files = len(other.rows()["telemetry_event"]), other.files()
    staging = swap.begin(other.data)
    for name, data in filled.files().items():
        (staging / name).parent.mkdir(parents=True, exist_ok=True)
        (staging / name).write_bytes(data)
    shutil.copy(filled.data / "kerfbook.sqlite3", other.data / "kerfbook.sqlite3.restoring")
    renames, real = iter(range(100)), os.replace

    def replace(start, end):
        if next(renames) == at:
            raise Killed
        real(start, end)

    with other.here():
        monkeypatch.setattr(os, "replace", replace)
        with contextlib.suppress(Killed):
            swap.swap(other.data, swap.plan_of(NOW, keep=True))
        monkeypatch.undo()
        if at == 0:  # before it was noted that the new shop is ready
            assert not swap.unfinished(other.data)
            assert (len(other.rows()["telemetry_event"]), other.files()) == (before, files)
            return
        swap.finish(other.data)
    assert other.rows() == filled.rows()
    assert other.files() == filled.files()
    (kept,) = other.data.glob("replaced-*")
    old = Place(kept, None)
    assert (len(old.rows()["telemetry_event"]), old.files()) == (before, files)


@pytest.mark.long
def test_commands_given_after_an_interrupted_restore_make_no_new_database(other):
    """Killed when the old database was moved away and the new one not yet put in its place."""
    staging = swap.begin(other.data)
    (staging / "ready.json").write_text('{"kept": "replaced-1", "schema": "r", "keep": true}')
    (other.data / "kerfbook.sqlite3").rename(other.data / "kerfbook.sqlite3.restoring")
    files = other.files()
    for words in (("intake",), ("web", "--port", "1"), ("migrate",), ("backup", "b.zip")):
        done = manage(*words, env=other.env)
        assert done.returncode != 0
        assert "a restore was interrupted" in done.stderr
        assert "Traceback" not in done.stderr
    made = other.data / "kerfbook.sqlite3"
    assert not made.exists() or not made.read_bytes().count(b"CREATE TABLE")
    assert other.files() == files
    done = manage("upgrade", env=other.env)
    assert done.returncode == 0, done.stderr
    assert other.rows()["shopfloor_user"]
    assert not swap.unfinished(other.data)


@pytest.mark.long
def test_a_full_disk_leaves_nothing_half(filled, out):
    """A limit on the size of files stands for the disk: writing fails in the same way."""
    path = out / "b.zip"
    size = backup_size(filled, path)
    for kib in (1, size // 2048, size // 1024 - 1):
        command = f"ulimit -f {kib}; exec {sys.executable} -c '{MAKE}' {path}"
        with filled.connection() as raw:  # so that SQLite's own files are there
            raw.execute("SELECT * FROM telemetry_feed").fetchall()
            done = subprocess.run(
                ["bash", "-c", command], env=filled.env, cwd=ROOT, capture_output=True, text=True,
                check=False,
            )  # fmt: skip
        assert done.stdout.strip() == f"{path}: File too large", done.stderr
        assert list(out.iterdir()) == []


MAKE = """
import os, sys
from pathlib import Path
os.environ["DJANGO_SETTINGS_MODULE"] = "shopfloor.settings"
sys.dont_write_bytecode = True
import django
django.setup()
from shopfloor.backup.archive import BackupError
from shopfloor.backup.make import backup_make
try:
    backup_make(Path(sys.argv[1]))
except BackupError as problem:
    print(problem)
"""


def backup_size(place: Place, path: Path) -> int:
    with place.here():
        size = backup_make(path).size
    path.unlink()
    return size


def test_a_second_backup_to_the_same_file_is_refused_while_one_is_written(filled, tmp_path):
    path = tmp_path / "b.zip"
    with (tmp_path / ".b.zip.part").open("w") as held, filled.here():
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(BackupError, match="another backup"):
            backup_make(path)
    assert not path.exists()


def test_a_segment_packed_while_the_backup_looks_is_taken_packed(other, tmp_path, monkeypatch):
    """The list was made, then the worker packed the segment and the plain file went."""
    lane = other.data / "journal" / "t" / "backfill"
    real = folder._copy

    def copy(path, name, writer):
        if path.name == "0000000001.journal":
            pack(lane, 1)
        return real(path, name, writer)

    monkeypatch.setattr(folder, "_copy", copy)
    with other.here():
        made = backup_make(tmp_path / "b.zip")
    names = set(zipfile.ZipFile(made.path).namelist())
    assert "journal/t/backfill/0000000001.journal.gz" in names
    assert "journal/t/backfill/0000000001.journal" not in names


def test_a_segment_that_vanishes_between_others_ends_the_backup(other, tmp_path, monkeypatch):
    lane = other.data / "journal" / "t" / "backfill"
    shutil.copy(lane / "0000000001.journal", lane / "0000000002.journal")
    real = folder._copy

    def copy(path, name, writer):
        path.unlink() if path.name == "0000000002.journal" else None
        return real(path, name, writer)

    monkeypatch.setattr(folder, "_copy", copy)
    with other.here(), pytest.raises(BackupError, match=r"0000000002\.journal: .* vanished"):
        backup_make(tmp_path / "b.zip")
    assert not (tmp_path / "b.zip").exists()
