"""Rotations while nobody looked, and faster than anybody looks."""

from __future__ import annotations

import bz2
import gzip
import os
import time

import pytest

from telemetry.feeds.follow import FollowedFile
from telemetry.feeds.limits import Limits
from telemetry.feeds.rotated import siblings_of
from telemetry.journal import Kind
from telemetry.models import Alarm, Gap, Reject, SourcePosition
from tests.telemetry.feeds.test_csv_file import after, feed, path, rows

__all__ = ["feed", "path"]
pytestmark = pytest.mark.django_db
STEP_NS = 1_000_000_000


@pytest.fixture
def rotate(path):
    """Renames the growing file as a rotating logger does; every file is older than the next."""
    moment = [time.time_ns() - 100 * STEP_NS]

    def turn(number: int = 1) -> None:
        older = path.with_name(f"{path.name}.{number}")
        if older.exists():
            for n in range(9, number - 1, -1):
                if path.with_name(f"{path.name}.{n}").exists():
                    path.with_name(f"{path.name}.{n}").rename(f"{path}.{n + 1}")
        path.rename(older)
        touch(older)

    def touch(file) -> None:
        moment[0] += STEP_NS
        os.utime(file, ns=(moment[0], moment[0]))

    return turn


def seqs() -> list[int]:
    from telemetry.models import Event

    return sorted(Event.objects.values_list("seq", flat=True))


@pytest.mark.parametrize("packing", ["", ".gz", ".bz2"])
def test_19_two_rotations_while_it_was_down_lose_no_file(feed, path, rotate, packing):
    path.write_text(rows(1, 40))
    assert after(feed)[0] == 40
    with path.open("a") as file:
        file.write(rows(41, 50))
    rotate()
    path.write_text(rows(51, 60))
    rotate()
    path.write_text(rows(61, 70))
    rotate()
    path.write_text(rows(71, 80))
    if packing:
        opener = {".gz": gzip.open, ".bz2": bz2.open}[packing]
        for n in (2, 3):
            plain = path.with_name(f"t.csv.{n}")
            times = plain.stat().st_mtime_ns
            with opener(f"{plain}{packing}", "wb") as packed:
                packed.write(plain.read_bytes())
            plain.unlink()
            os.utime(f"{plain}{packing}", ns=(times, times))
    assert after(feed) == (80, 80, 0, 0)
    assert not Gap.objects.exists()
    assert not Alarm.objects.exists()
    assert SourcePosition.objects.count() == 4
    # Reading on begins nothing again.
    with path.open("a") as file:
        file.write(rows(81, 82))
    assert after(feed) == (82, 82, 0, 0)


def test_19_dated_names_are_followed_in_their_order(feed, path, rotate):
    path.write_text(rows(1, 40))
    assert after(feed)[0] == 40
    moment = time.time_ns() - 50 * STEP_NS
    for n, name in enumerate(("t-20261128.csv", "t.csv-20261129", "t.csv.20261130")):
        path.rename(path.with_name(name))
        os.utime(path.with_name(name), ns=(moment + n * STEP_NS,) * 2)
        path.write_text(rows(41 + n * 10, 50 + n * 10))
    assert after(feed) == (70, 70, 0, 0)


def test_19_the_last_line_of_a_rotated_file_is_taken_though_nothing_ends_it(feed, path, rotate):
    path.write_text(rows(1, 40))
    assert after(feed)[0] == 40
    with path.open("a") as file:
        file.write(rows(41, 50).rstrip("\n"))
    rotate()
    path.write_text(rows(51, 60))
    assert after(feed) == (60, 60, 0, 0)
    assert not Reject.objects.exists()


@pytest.mark.parametrize("how", ["gone", "unknown packing", "cut"])
def test_19_a_file_between_that_is_gone_or_unreadable_is_a_gap_and_an_alarm(
    feed, path, rotate, how
):
    path.write_text(rows(1, 40))
    assert after(feed)[0] == 40
    rotate()
    path.write_text(rows(41, 60))
    rotate()
    path.write_text(rows(61, 80))
    rotate()
    path.write_text(rows(81, 90))
    middle = path.with_name("t.csv.2")
    if how == "unknown packing":
        middle.rename(f"{middle}.zst")
    elif how == "cut":
        packed = path.with_name("t.csv.2.gz")
        packed.write_bytes(gzip.compress(middle.read_bytes())[:-20])
        os.utime(packed, ns=(middle.stat().st_mtime_ns,) * 2)
        middle.unlink()
    else:
        middle.unlink()
    assert after(feed) == (70, 70, 1, 0)
    assert seqs() == [*range(1, 41), *range(61, 91)]
    alarm = Alarm.objects.get()
    assert alarm.code == "lines missing"
    assert "t.csv.2" in alarm.message
    assert Gap.objects.get(kind="link").message == alarm.message


def test_19_when_the_file_that_was_read_is_gone_that_is_said_and_reading_goes_on(
    feed, path, rotate
):
    path.write_text(rows(1, 40))
    assert after(feed)[0] == 40
    # Both are there before the first one goes: the disk must not give its number again.
    path.with_name("t.csv.1").write_text(rows(51, 60))
    path.with_name("next").write_text(rows(61, 70))
    path.with_name("next").rename(path)
    assert after(feed) == (60, 60, 1, 0)
    assert Alarm.objects.get().message.startswith("t.csv: the file that was being read is gone")
    assert after(feed) == (60, 60, 1, 0)
    assert Alarm.objects.count() == 1


def test_19_a_new_file_under_the_inode_of_the_one_that_is_gone_hides_no_sibling(feed, path):
    path.write_text(rows(1, 40))
    assert after(feed)[0] == 40
    path.with_name("t.csv.1").write_text(rows(51, 60))
    path.write_text(rows(61, 70))  # written in place: the inode stays
    assert after(feed) == (60, 60, 1, 0)
    assert seqs() == [*range(1, 41), *range(51, 71)]
    assert Alarm.objects.get().message.startswith("t.csv: the file that was being read is gone")
    assert after(feed) == (60, 60, 1, 0)


def test_20_copied_and_truncated_while_it_was_down_the_copy_gives_the_tail(feed, path):
    path.write_text(rows(1, 40))
    assert after(feed)[0] == 40
    with path.open("a") as file:
        file.write(rows(41, 50))
    path.with_name("t.csv.1").write_bytes(path.read_bytes())
    path.write_text("")
    with path.open("a") as file:
        file.write(rows(51, 60))
    assert after(feed) == (60, 60, 0, 0)
    assert not Alarm.objects.exists()


def test_22_files_of_other_tables_and_copies_are_no_siblings(feed, path, rotate):
    path.write_text(rows(1, 40))
    assert after(feed)[0] == 40
    for name in ("t-2.csv", "t2.csv", "t.csv.bak", "t.csv.txt", "tt.csv.1", "t.csv.1x"):
        path.with_name(name).write_text(rows(900, 950))
    path.with_name("t.csv.7").write_text(rows(1, 40))  # what was read, once more
    rotate(1)
    path.write_text(rows(41, 50))
    assert after(feed) == (50, 50, 0, 0)
    assert [one.path.name for one in siblings_of(path)] == ["t.csv.1", "t.csv.7"]


def test_19_rotated_twice_between_two_looks_while_it_is_read(path, rotate):
    path.write_text(rows(1, 3))
    followed = FollowedFile(path, None, Limits.of_shop(), rotates=True)
    read = b"".join(chunk.body for _ in range(2) for chunk in followed.turn())
    rotate()
    path.write_text(rows(4, 6))
    rotate()
    path.write_text(rows(7, 9))
    chunks = [chunk for _ in range(8) for chunk in followed.turn()]
    assert (read + b"".join(chunk.body for chunk in chunks)).decode() == rows(1, 9)
    assert [chunk.meta for chunk in chunks if chunk.kind is Kind.OPENED] == [{"rotated": True}] * 2
    followed.close()
