"""A growing file through everything that happens to files. Each step ends as `--once` does."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from telemetry.models import Reject, SourcePosition
from telemetry.selectors import feed_status
from telemetry.services import feed_register
from telemetry.worker import run_once
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db


def rows(first: int, last: int, *, word: str = "PIERCE") -> str:
    """One line a second from 06:00:00, numbered; about 40 bytes each."""
    return "".join(
        f"{n},2026-03-10T{6 + n // 3600:02}:{n // 60 % 60:02}:{n % 60:02},1,{word},\n"
        for n in range(first, last + 1)
    )


@pytest.fixture
def feed(tmp_path):
    (tmp_path / "t.csv").touch()
    return feed_register(name="t", text=feed_text(tmp_path / "t.csv"), by="test")


@pytest.fixture
def path(tmp_path) -> Path:
    return tmp_path / "t.csv"


def after(feed) -> tuple[int, int, int, int]:
    """(lines, events, gaps, duplicates) once what is there has been read."""
    run_once([feed])
    status = feed_status(feed)
    return status["lines"], status["events"], status["gaps"], status["duplicates"]


def test_the_last_line_waits_for_its_newline(feed, path):
    path.write_text(rows(1, 5) + "6,2026-03-10T06:00:06,1,PIER")
    assert after(feed) == (5, 5, 0, 0)
    with path.open("a") as file:
        file.write("CE,\n" + rows(7, 7))
    assert after(feed) == (7, 7, 0, 0)
    assert Reject.objects.count() == 0


def test_reading_on_after_a_stop_skips_and_repeats_nothing(feed, path):
    path.write_text("")
    for n in range(0, 60, 7):
        with path.open("a") as file:
            file.write(rows(n + 1, n + 7))
        assert after(feed) == (n + 7, n + 7, 0, 0)
    assert after(feed) == (63, 63, 0, 0)


def test_renamed_while_nobody_looked_the_old_tail_is_read_and_then_the_new_file(feed, path):
    path.write_text(rows(1, 40))
    assert after(feed) == (40, 40, 0, 0)
    with path.open("a") as file:
        file.write(rows(41, 50))
    path.rename(path.with_suffix(".csv.1"))
    path.write_text(rows(51, 60))
    assert after(feed) == (60, 60, 0, 0)


def test_copied_and_truncated_it_goes_on_with_the_new_content(feed, path):
    path.write_text(rows(1, 40))
    assert after(feed) == (40, 40, 0, 0)
    with path.open("r+") as file:
        file.truncate(0)
    assert after(feed) == (40, 40, 0, 0)
    with path.open("a") as file:
        file.write(rows(41, 50))
    assert after(feed) == (50, 50, 0, 0)
    assert SourcePosition.objects.count() == 2


def test_truncated_and_grown_past_the_old_end_unseen_it_starts_over(feed, path):
    path.write_text(rows(1, 40))
    assert after(feed) == (40, 40, 0, 0)
    inode = path.stat().st_ino
    with path.open("r+") as file:
        file.truncate(0)
        file.write(rows(41, 100))
    assert path.stat().st_ino == inode
    assert after(feed) == (100, 100, 0, 0)


@pytest.mark.parametrize("in_place", [True, False])
def test_exported_again_whole_only_the_new_lines_are_added(feed, path, in_place):
    path.write_text(rows(1, 40))
    assert after(feed) == (40, 40, 0, 0)
    text = rows(1, 40).replace("T06:00:39", "T06:00:39.0").replace("T06:00:40", "T06:00:40.5")
    text += rows(41, 55)
    if in_place:
        path.write_text(text)
    else:
        other = path.with_suffix(".new")
        other.write_text(text)
        os.replace(other, path)
    # Line 40 came back with another stamp: a line of its own. Line 39 came back with a zero behind
    # the same stamp: known, as is the rest.
    assert after(feed) == (56, 56, 0, 0)


def test_exported_again_the_same_but_longer_it_reads_on(feed, path):
    path.write_text(rows(1, 40))
    assert after(feed) == (40, 40, 0, 0)
    other = path.with_suffix(".new")
    other.write_text(rows(1, 55))
    os.replace(other, path)
    assert after(feed) == (55, 55, 0, 0)
    assert SourcePosition.objects.count() == 1


def test_a_new_file_under_an_old_inode_is_told_by_its_content(feed, path):
    path.write_text(rows(1, 40))
    assert after(feed) == (40, 40, 0, 0)
    path.unlink()
    path.write_text(rows(41, 90))  # most file systems hand out the same inode again
    assert after(feed) == (90, 90, 0, 0)


def test_a_very_long_line_is_refused_and_the_offset_stays_exact(feed, path):
    path.write_text(rows(1, 3) + "x" * 700_000 + "\n" + rows(4, 5))
    assert after(feed)[:2] == (6, 5)
    assert Reject.objects.get().reason == "too long"
    with path.open("a") as file:
        file.write(rows(6, 6))
    assert after(feed)[:2] == (7, 6)


def test_a_missing_file_is_an_error_that_names_it(feed, path):
    from telemetry.errors import SourceError

    path.unlink()
    other = path.with_name("other.csv")
    other.write_text(rows(1, 3))
    good = feed_register(name="u", text=feed_text(other), by="test")
    with pytest.raises(SourceError, match=r"t\.csv: no such file"):
        run_once([feed, good])
    assert feed_status(good)["lines"] == 3
