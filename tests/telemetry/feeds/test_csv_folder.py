from __future__ import annotations

import os
import time

import pytest

from telemetry.selectors import feed_status
from telemetry.services import feed_register
from telemetry.worker import run_once
from tests.telemetry.feeds.test_csv_file import rows
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db


@pytest.fixture
def feed(tmp_path):
    (tmp_path / "drop").mkdir()
    text = feed_text(tmp_path / "drop").replace("csv_file", "csv_folder")
    return feed_register(name="t", text=text, by="test")


def after(feed) -> tuple[int, int, int]:
    run_once([feed])
    status = feed_status(feed)
    return status["lines"], status["events"], status["gaps"]


def test_files_dropped_in_are_read_once_each_and_overlaps_count_once(feed, tmp_path):
    drop = tmp_path / "drop"
    (drop / "a.csv").write_text(rows(1, 30))
    (drop / "b.csv").write_text(rows(21, 50))
    assert after(feed) == (50, 50, 0)
    assert after(feed) == (50, 50, 0)
    (drop / "c.csv").write_text(rows(41, 60))
    assert after(feed) == (60, 60, 0)
    with (drop / "a.csv").open("a") as file:
        file.write(rows(61, 62))
    assert after(feed)[:2] == (62, 62)


def test_a_finished_file_gives_its_last_line_without_a_line_end(feed, tmp_path):
    path = tmp_path / "drop" / "a.csv"
    path.write_text(rows(1, 3).rstrip("\n"))
    assert after(feed)[:2] == (2, 2)  # it may still be being written
    long_ago = time.time() - 60
    os.utime(path, (long_ago, long_ago))
    assert after(feed)[:2] == (3, 3)


def test_hidden_and_unfinished_names_are_left_alone(feed, tmp_path):
    for name in (".a.csv", "a.csv.part", "b.tmp"):
        (tmp_path / "drop" / name).write_text(rows(1, 3))
    assert after(feed) == (0, 0, 0)
