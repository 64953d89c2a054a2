"""A rebuild from a journal that cannot be read whole loses no good row, and says so."""

from __future__ import annotations

import json
import random
import signal
import subprocess
import sys
import time
from itertools import pairwise

import pytest
from django.core.management import call_command
from django.db import connection

from telemetry.journal import Kind, Record, Writer, read
from telemetry.journal.segments import segment_numbers, segment_path
from telemetry.locks import Busy, Lock
from telemetry.models import Arc, Cursor, Event, Reject
from telemetry.paths import journal_folder, lock_path
from telemetry.services import feed_register
from telemetry.worker import run_once
from telemetry.worker.lane_runner import LaneRunner, announce
from telemetry.worker.rebuild import rebuild
from tests.processes import ROOT
from tests.telemetry.stored import Table, everything, stored_arcs
from tests.telemetry.table_lines import arcs_of, feed_text, simulate
from tests.telemetry.worker.test_worker import house

__all__ = ["house"]

BEGAN_US = 1_773_000_000_000_000


def hear(feed, text: str, cuts: list[int], *, file: bool) -> None:
    """Journals and stores a text in pieces, a minute after each other, in small segments."""
    storing = LaneRunner(feed, "live")
    storing.drain()
    writer = Writer(journal_folder(feed.name, "live"), segment_bytes=3000)
    announce(feed, storing.lane, writer)
    at = storing.lane.bytes_end
    place = {"path": "n.csv", "generation": 1, "file": {"inode": "1"}} if file else {}
    for n, (start, end) in enumerate(pairwise([0, *cuts, len(text)])):
        utc_us = BEGAN_US + (at + n) * 60_000_000
        meta = {"source": "n", "at": at + start, **place}
        body = text[start:end].encode()
        writer.append(Kind.DATA, meta=meta, body=body, utc_us=utc_us, mono_us=n)
        writer.sync()
    writer.append(Kind.FLUSH, meta={}, utc_us=utc_us + 1, mono_us=0)
    writer.close()
    storing.drain()


@pytest.fixture
def table(tmp_path, db):
    """Four hundred lines heard in twenty goes, the journal in many small segments."""
    table = Table(tmp_path, numbered=True)
    table.lines = simulate(5, 400)
    rows = [line + "\n" for line in table.text(table.lines).splitlines()]
    cuts = [sum(map(len, rows[:n])) for n in range(20, 400, 20)]
    hear(table.feed, "".join(rows), cuts, file=True)
    assert stored_arcs() == arcs_of(table.lines)
    return table


def live():
    return journal_folder("n", "live")


def flip(number: int, share: float) -> None:
    path = segment_path(live(), number)
    raw = bytearray(path.read_bytes())
    raw[int(len(raw) * share)] ^= 8
    path.write_bytes(raw)


def remove(number: int) -> None:
    segment_path(live(), number).unlink()


def command(capsys, *words: str) -> tuple[int, str, str]:
    status = 0
    try:
        call_command("rebuild", *words)
    except SystemExit as end:
        status = end.code
    out = capsys.readouterr()
    return status, out.out, out.err


@pytest.mark.parametrize("where", [0.2, 0.5, 0.9])
@pytest.mark.parametrize("number", [1, 2, 4])
def test_a_flipped_bit_costs_no_row(table, capsys, number, where):
    before = everything()
    flip(number, where)
    status, _, said = command(capsys)
    assert status == 1
    assert f"{segment_path(live(), number)}:" in said
    assert "Traceback" not in said
    assert len(said.splitlines()) == 1
    now = everything()
    for name in ("events", "arcs", "strays", "rollups"):
        assert now[name] == before[name], name


@pytest.mark.parametrize("gone", [(1,), (2,), (1, 2, 3), (3, 5), "last", "all"])
def test_missing_segments_cost_no_row_and_no_traceback(table, capsys, gone):
    numbers = segment_numbers(live())
    assert len(numbers) > 6
    before, cursor = everything(), Cursor.objects.values_list("sequence", "lines", "events").get()
    for number in {"last": numbers[-1:], "all": numbers}.get(gone, gone):
        remove(number)
    status, _, said = command(capsys)
    assert status == 1
    assert ("the journal ends there" if gone == "last" else "this file is missing") in said
    assert everything() == before
    assert Cursor.objects.values_list("sequence", "lines", "events").get() == cursor


def test_what_was_spoilt_where_the_journal_can_be_read_is_put_right_and_the_rest_stays(table):
    before = everything()
    remove(2)
    lost = {line.seq for line in table.lines} - readable_numbers(table)
    spoilt = list(Event.objects.exclude(seq__in=lost).order_by("at_us")[50:120])
    for event in spoilt:
        Event.objects.filter(feed=table.feed, key=event.key)._raw_delete("default")
    Arc.objects.update(pierces=9)
    done = rebuild(table.feed)
    assert everything()["events"] == before["events"]
    assert everything()["arcs"] == before["arcs"]
    assert done.event_changes == (70, 0, 0)
    assert len(done.unreadable) == 1


def readable_numbers(table) -> set[int]:
    raw = b"".join(
        item.body for item, _ in read(live()) if isinstance(item, Record) and item.kind is Kind.DATA
    )
    return {int(row.split(b",")[0]) for row in raw.split(b"\n") if row.count(b",") == 4}


def test_rows_the_journal_never_gave_go_unless_they_came_in_while_it_cannot_be_read(table):
    rebuild(table.feed)
    good = Event.objects.count()
    event = Event.objects.order_by("received_us").last()
    event.key, event.seq = b"\x01" * 16, 9_999
    event.save(force_insert=True)
    done = rebuild(table.feed)
    assert done.event_changes == (0, 1, 0)
    assert Event.objects.count() == good


def test_a_dry_run_says_what_would_change_and_changes_nothing(table, capsys):
    Event.objects.filter(kind=3)._raw_delete("default")
    Event.objects.filter(seq__lt=20).update(number=7.5)
    Arc.objects.filter(ended="off").update(pierces=9)
    before = everything()
    status, said, _ = command(capsys, "--dry-run", "--json")
    assert status == 0
    [row] = json.loads(said)["feeds"]
    assert row["events_changed"]["added"] > 0
    assert row["events_changed"]["changed"] > 0
    assert row["arcs_changed"] != {"added": 0, "removed": 0, "changed": 0}
    assert row["unreadable"] == []
    assert everything() == before
    assert command(capsys)[0] == 0
    _, again, _ = command(capsys, "--dry-run")
    assert "events unchanged; arcs unchanged" in again
    assert stored_arcs() == arcs_of(table.lines)


def test_a_dry_run_of_a_damaged_journal_names_what_cannot_be_read(table, capsys):
    flip(2, 0.5)
    before = everything()
    status, said, named = command(capsys, "--dry-run")
    assert status == 1
    assert f"{segment_path(live(), 2)}:" in named
    assert "arcs unchanged" in said
    assert everything() == before


def test_half_a_line_before_what_cannot_be_read_is_never_joined_to_one_behind_it(
    db,
):
    """The bytes of a port, cut anywhere: the record in the middle is lost."""
    text = feed_text("x").replace(
        'kind = "csv_file"\npath = "x"', 'kind = "serial"\nport = "/dev/null"'
    )
    feed = feed_register(name="p", text=text, by="test")
    lines = [f"{n},2026-03-10T06:00:{n},1,PIERCE,\n" for n in range(10, 40)]
    long = len(lines[0])
    # Cut in the number of line 16 and of line 26, so that "1" and "6" would join to another line.
    cuts = [6 * long + 1, 16 * long + 1]
    hear(feed, "".join(lines), cuts, file=False)
    assert Event.objects.count() == 30
    path = segment_path(journal_folder("p", "live"), 1)
    whole = path.read_bytes()
    path.write_bytes(whole.replace(lines[10].encode(), b"#" * long))
    rebuild(feed)
    stored = set(Event.objects.values_list("seq", "at_us"))
    assert stored == {(n, 1_773_122_400_000_000 + n * 1_000_000) for n in range(10, 40)}
    assert set(Reject.objects.values_list("reason", "raw")) == {
        ("half line", b"1"),
        ("half line", lines[16][1:-1].encode()),
    }
    Event.objects.filter(feed=feed)._raw_delete("default")  # a database put back from before it
    Cursor.objects.all().delete()
    Reject.objects.all().delete()
    LaneRunner(feed, "live").drain()
    assert set(Event.objects.values_list("seq", flat=True)) == {*range(10, 16), *range(27, 40)}


def test_a_change_of_description_among_what_cannot_be_read_is_known_by_the_rows_behind_it(
    tmp_path, monkeypatch, db
):
    monkeypatch.setattr(Writer.__init__, "__kwdefaults__", {"floor": None, "segment_bytes": 600})
    path = tmp_path / "t.csv"
    lines = [x.text(numbered=True).replace("ARC OFF", "BURN END") + "\n" for x in simulate(6, 90)]
    path.write_text("".join(lines[:30]))
    feed = feed_register(name="n", text=feed_text(path), by="test")
    run_once([feed])
    changed = feed_text(path).replace('["ARC OFF"]', '["ARC OFF", "BURN END"]')
    feed = feed_register(name="n", text=changed, by="test")
    for n in (30, 60):
        with path.open("a") as file:
            file.write("".join(lines[n : n + 30]))
        run_once([feed])
    before = everything()
    [(number, _)] = [
        (at.segment, item.sequence)
        for item, at in read(live())
        if isinstance(item, Record) and item.meta.get("version") == 2
    ]
    remove(number)
    done = rebuild(feed)
    assert done.unreadable
    now = everything()
    assert now["events"] == before["events"]
    assert now["arcs"] == before["arcs"]


def test_a_second_rebuild_of_one_source_is_refused(table):
    lock = Lock(lock_path("n", "rebuild"), "feed 'n'", "rebuilt")
    try:
        with pytest.raises(Busy, match="feed 'n' is already being rebuilt by process"):
            rebuild(table.feed)
    finally:
        lock.release()
    rebuild(table.feed)


def test_a_source_that_cannot_be_rebuilt_ends_no_other(table, tmp_path, capsys):
    other = tmp_path / "other.csv"
    other.touch()
    bad = feed_register(name="a", text=feed_text(other), by="test")
    bad.versions.update(text="nonsense = ")
    Arc.objects.update(pierces=9)
    status, said, faults = command(capsys)
    assert status == 2
    assert faults.startswith("a: nothing is changed: a:1:")
    assert said.startswith("n: 400 lines")
    assert stored_arcs() == arcs_of(table.lines)


@pytest.mark.long
def test_killed_at_any_instant_a_rebuild_loses_nothing(house, tmp_path):
    from tests.processes import manage, manage_json

    path = tmp_path / "t.csv"
    path.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(21, 4000)))
    house.register("t", feed_text(path))
    before = manage_json("intake", "t", "--once", env=house.env)["feeds"][0]
    chance = random.Random(21)
    words = [sys.executable, str(ROOT / "manage.py"), "rebuild"]
    began = time.monotonic()
    assert subprocess.run(words, env=house.env, cwd=ROOT, capture_output=True).returncode == 0
    whole_s = time.monotonic() - began
    for _ in range(6):
        process = subprocess.Popen(
            words, env=house.env, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(chance.uniform(0.4, 1.0) * whole_s)
        process.send_signal(signal.SIGKILL)
        process.communicate()
        now = house.status("t")
        assert {k: v for k, v in now.items() if k not in ("state", "since")} == {
            k: v for k, v in before.items() if k not in ("state", "since")
        }
    done = manage("rebuild", "--dry-run", env=house.env)
    assert done.returncode == 0
    assert "events unchanged; arcs unchanged" in done.stdout


@pytest.mark.slow
def test_beside_a_running_worker_a_rebuild_and_new_lines_both_come_through(house, tmp_path):
    from tests.processes import manage, until
    from tests.telemetry.worker.test_worker import ended, wait_listening

    path = tmp_path / "t.csv"
    lines = [x.text(numbered=True) + "\n" for x in simulate(22, 1500)]
    path.write_text("".join(lines[:500]))
    house.register("t", feed_text(path))
    with ended(house.intake("t")):
        wait_listening(house, "t")
        for n in (500, 1000):
            with path.open("a") as file:
                file.write("".join(lines[n : n + 500]))
            done = manage("rebuild", env=house.env)
            assert done.returncode == 0, done.stderr
        # The last lines wait in the window for others that may come before them.
        until(lambda: house.status("t")["events"] == 1500, within_s=30, what="all events")
    assert house.status("t")["lines"] == 1500


def test_the_copies_of_a_rebuild_are_gone_afterwards(table):
    rebuild(table.feed)
    with connection.cursor() as cursor, pytest.raises(Exception, match="before_event"):
        cursor.execute("SELECT * FROM before_event")
