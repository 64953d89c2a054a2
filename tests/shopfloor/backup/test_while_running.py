"""Backups taken while a file is read in at full speed, killed at random instants, on full disks."""

from __future__ import annotations

import json
import random
import signal
import subprocess
import sys
import time
import zipfile

import pytest

from tests.processes import ROOT, manage
from tests.telemetry.table_lines import feed_text, simulate

pytestmark = pytest.mark.slow

STORED = """
import json
from tests.telemetry.stored import everything
print(json.dumps({name: sorted(map(repr, rows)) for name, rows in everything().items()}))
"""


def started(place, *words: str) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), *words], env=place.env, cwd=ROOT,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def test_a_backup_of_a_shop_that_reads_a_file_agrees_with_its_journal(empty, tmp_path):
    """Several backups during one backfill. Of the restored one the journal reaches at least as far
    as the cursor, a rebuild gives the rows that are there, and reading the file once more gives
    what the whole shop has."""
    place, source = empty(), tmp_path / "t.csv"
    source.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(6, 60_000)))
    (tmp_path / "t.toml").write_text(feed_text(source))
    place.manage("migrate", "-v", "0")
    place.manage("addfeed", "t", str(tmp_path / "t.toml"))
    running = started(place, "backfill", "t", str(source))
    paths, counts = [], []
    while running.poll() is None:
        path = tmp_path / f"{len(paths)}.zip"
        place.manage("backup", str(path))
        paths.append(path)
        counts.append(events_in(path))
    assert running.returncode == 0
    between = [n for n, count in enumerate(counts) if count > 0]
    chosen = paths[between[0] if between else -1]
    other = empty()
    other.manage("restore", str(chosen))
    (cursors,) = [other.manage("shell", "-v", "0", "-c", REACH)]
    assert json.loads(cursors) is True
    before = json.loads(other.manage("shell", "-v", "0", "-c", STORED))
    other.manage("rebuild")
    assert json.loads(other.manage("shell", "-v", "0", "-c", STORED)) == before
    other.manage("backfill", "t", str(source))
    last = json.loads(other.manage("shell", "-v", "0", "-c", STORED))
    whole = json.loads(place.manage("shell", "-v", "0", "-c", STORED))
    assert len(last["events"]) == len(whole["events"]) > 50_000
    assert len(last["arcs"]) == len(whole["arcs"])


REACH = """
import json
from telemetry.journal import read
from telemetry.models import Cursor
from telemetry.paths import journal_folder
ends = []
for row in Cursor.objects.select_related("feed"):
    last = 1
    for item, position in read(journal_folder(row.feed.name, row.lane)):
        last = position.sequence
    ends.append(last >= row.sequence)
print(json.dumps(all(ends)))
"""


def events_in(path) -> int:
    with zipfile.ZipFile(path) as archive:
        return archive.read("tables/telemetry_event.copy").count(b"\n")


def test_killed_at_any_instant_a_backup_is_there_whole_or_not_at_all(filled, tmp_path):
    path, chance = tmp_path / "b.zip", random.Random(3)
    began = time.monotonic()
    filled.manage("backup", str(path))
    took = time.monotonic() - began
    path.unlink()
    for _ in range(6):
        running = started(filled, "backup", str(path))
        time.sleep(chance.uniform(0.5, 1.0) * took)
        running.send_signal(chance.choice([signal.SIGKILL, signal.SIGTERM]))
        running.wait()
        assert {one.name for one in tmp_path.iterdir()} <= {"b.zip", ".b.zip.part"}
        if path.exists():
            assert len(zipfile.ZipFile(path).read("manifest.json")) > 100
            path.unlink()
    filled.manage("backup", str(path))
    assert [one.name for one in tmp_path.iterdir()] == ["b.zip"]


def test_killed_at_any_instant_a_restore_leaves_one_shop_or_the_other(filled, saved, empty):
    """What a kill left is the old shop, or one that the next restore or start makes whole."""
    place, chance = empty(), random.Random(4)
    place.fill(place.data.parent / "other", lines=30)
    old = shop_of(place)
    began = time.monotonic()
    place.manage("backup", str(place.data.parent / "old.zip"))
    took = 3 * (time.monotonic() - began)
    for _ in range(4):
        running = started(place, "restore", str(saved), "--replace")
        time.sleep(chance.uniform(0.2, 1.0) * took)
        running.send_signal(signal.SIGKILL)
        running.wait()
        if (place.data / "restoring" / "ready.json").exists():
            place.manage("restore", "/no/such/file", status=2)
        assert shop_of(place) in (old, shop_of(filled))
    place.manage("restore", str(saved), "--replace")
    assert shop_of(place) == shop_of(filled) != old
    assert not (place.data / "restoring").exists()


def shop_of(place) -> tuple:
    return place.files(), place.rows()["telemetry_event"], place.rows()["shopfloor_change"]


def test_a_full_disk_leaves_nothing_half(filled, tmp_path):
    """A limit on file size stands for the disk: writing fails in the same way, at any byte."""
    path = tmp_path / "b.zip"
    command = f"ulimit -f 8; exec {sys.executable} {ROOT / 'manage.py'} backup {path}"
    done = subprocess.run(
        ["bash", "-c", command], env={**filled.env, "PYTHONDONTWRITEBYTECODE": "1"}, cwd=ROOT,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2, done.stderr
    assert done.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_two_backups_to_one_file_do_not_mix(filled, tmp_path):
    path = tmp_path / "b.zip"
    both = [started(filled, "backup", str(path)) for _ in range(2)]
    codes = sorted(one.wait() for one in both)
    assert codes in ([0, 0], [0, 2])
    assert manage("restore", str(path), env=filled.env).stderr.count("altered") == 0
    assert [one.name for one in tmp_path.iterdir()] == ["b.zip"]
