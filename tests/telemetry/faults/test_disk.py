"""Faults of the disk under the journal: numbers 4 to 6."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from telemetry.errors import TelemetryError
from telemetry.journal import JournalError, Kind, Record, Writer, read
from telemetry.journal import writer as writer_module
from telemetry.journal.segments import segment_numbers, segment_path
from telemetry.paths import journal_folder
from telemetry.services import feed_register
from telemetry.worker import run_once
from tests.processes import until
from tests.telemetry.faults.oracles import alive, conserved
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text, simulate
from tests.telemetry.worker.test_worker import ended, house, journalled, wait_listening

__all__ = ["house"]


@pytest.mark.django_db
def test_04_segments_that_are_gone_because_all_of_them_was_stored_do_not_stop_a_start(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(writer_module, "SEGMENT_BYTES", 4096)
    monkeypatch.setattr(Writer.__init__, "__kwdefaults__", {"floor": None, "segment_bytes": 4096})
    path = tmp_path / "t.csv"
    path.write_text("")
    feed = feed_register(name="t", text=feed_text(path), by="test")
    for n in range(5):
        with path.open("a") as file:
            file.write(rows(n * 100 + 1, n * 100 + 100))
        run_once([feed])
    folder = journal_folder("t", "live")
    numbers = segment_numbers(folder)
    assert len(numbers) > 3
    for number in numbers[:-1]:  # as if the crash came right after
        segment_path(folder, number).unlink()
    run_once([feed])
    alive(feed, path, rows(501, 501))


SHIM = """
import errno, os
_real = os.fdatasync
def fdatasync(descriptor):
    if os.path.exists({flag!r}):
        raise OSError(errno.EIO, "Input/output error")
    return _real(descriptor)
os.fdatasync = fdatasync
"""


@pytest.mark.slow
def test_05_while_fsync_fails_nothing_is_acknowledged_and_an_alarm_stands_until_it_works(
    house, tmp_path
):
    flag = tmp_path / "failing"
    (tmp_path / "shim").mkdir()
    (tmp_path / "shim" / "sitecustomize.py").write_text(SHIM.format(flag=str(flag)))
    house.env["PYTHONPATH"] = str(tmp_path / "shim")
    path = tmp_path / "t.csv"
    path.touch()
    house.register("t", feed_text(path))
    lines = simulate(31, 300)
    raw = "".join(x.text(numbered=True) + "\n" for x in lines)
    with ended(house.intake("t")) as process:
        wait_listening(house, "t")
        until(lambda: house.reads("t"), within_s=20, what="the worker reads it")
        flag.touch()
        path.write_text(raw)
        until(
            lambda: "Input/output error" in house.status("t")["message"], within_s=15, what="shown"
        )
        assert house.status("t")["events"] == 0
        flag.unlink()
        until(lambda: house.status("t")["lines"] == 300, within_s=15, what="all is stored")
        until(lambda: house.status("t")["message"] == "", within_s=15, what="the fault is over")
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=15)
    # The tail that failed is not trusted: the lines are in a segment of their own.
    folder = house.folder / "data" / "journal" / "t" / "live"
    assert len(segment_numbers(folder)) >= 2
    assert journalled(house, "t") == raw.encode()


@pytest.fixture
def small_disk(tmp_path):
    """A file system of 256 KB; where none can be mounted the test says so."""
    folder = tmp_path / "small"
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(folder)],
        capture_output=True, check=False,
    )  # fmt: skip
    if mounted.returncode:
        pytest.skip("no right to mount a small file system here")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_06_on_a_full_disk_it_pauses_keeps_what_it_has_and_goes_on_once_there_is_room(small_disk):
    folder = small_disk / "journal"
    writer = Writer(folder)
    ballast = small_disk / "ballast"
    sent, refusals = [], 0
    ballast.write_bytes(b"x" * 150_000)
    for n in range(30):
        body = b"%05d\n" % n * 1000
        writer.append(Kind.DATA, meta={}, body=body, utc_us=n, mono_us=n)
        sent.append(body)
        try:
            writer.sync()
        except JournalError as error:
            refusals += "No space left" in str(error)
            if refusals == 5:
                ballast.unlink()
    assert refusals >= 5
    writer.sync()
    writer.close()
    found = [item.body for item, _ in read(folder) if isinstance(item, Record)]
    assert found == sent
    assert Writer(folder).durable.sequence == 31


@pytest.mark.slow
def test_06_a_worker_on_a_full_disk_recovers_by_itself(house, tmp_path, small_disk):
    (house.folder / "data" / "journal").symlink_to(small_disk)
    path = tmp_path / "t.csv"
    path.touch()
    house.register("t", feed_text(path))
    raw = "".join(x.text(numbered=True) + "\n" for x in simulate(32, 400)).encode()
    with ended(house.intake("t")):
        wait_listening(house, "t")
        until(lambda: house.reads("t"), within_s=20, what="the worker reads it")
        ballast = fill(small_disk / "ballast")
        path.write_bytes(raw)
        until(lambda: "No space left" in house.status("t")["message"], within_s=15, what="shown")
        ballast.unlink()
        until(lambda: house.status("t")["lines"] == 400, within_s=20, what="all is stored")
    assert journalled(house, "t") == raw


def fill(path: Path) -> Path:
    """A file that takes all the room there is."""
    with path.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(b"x" * 512)
        except OSError:
            pass
    time.sleep(0.1)
    assert os.path.getsize(path)
    return path


@pytest.mark.django_db
def test_06_a_disk_that_is_full_when_intake_starts_is_an_error_that_names_it_and_passes(
    tmp_path, monkeypatch
):
    path = tmp_path / "t.csv"
    path.write_text(rows(1, 20))
    feed = feed_register(name="t", text=feed_text(path), by="test")
    real = os.pwrite

    def full(descriptor: int, data: object, offset: int) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "pwrite", full)
    with pytest.raises(TelemetryError, match="No space left"):
        run_once([feed])
    monkeypatch.setattr(os, "pwrite", real)
    run_once([feed])
    conserved(feed, path.read_bytes())
