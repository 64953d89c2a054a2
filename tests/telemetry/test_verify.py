"""`verify` of one source: clean after all that may happen, and every damage named."""

from __future__ import annotations

import random

import pytest
from django.db import connection

from telemetry.journal import Writer
from telemetry.journal.segments import pack, packable, packed_path, segment_numbers, segment_path
from telemetry.models import Arc, Cursor, Event, Reject, Repeat, Rollup
from telemetry.paths import journal_folder
from telemetry.services import clock_correct, feed_register
from telemetry.verify import check_feed
from telemetry.verify.sorting import Difference, Sorter, compare, row
from telemetry.worker import run_once
from telemetry.worker.rebuild import rebuild
from tests.telemetry.stored import Table
from tests.telemetry.table_lines import feed_text, simulate

pytestmark = pytest.mark.django_db


@pytest.fixture
def table(tmp_path, monkeypatch):
    """Some small segments, most of them packed, from a live source and a file."""
    monkeypatch.setitem(Writer.__init__.__kwdefaults__, "segment_bytes", 2_500)
    lines = simulate(11, 400)
    made = Table(tmp_path, numbered=True)
    for first in range(0, 300, 50):
        made.hear(lines[first : first + 50])
    made.read_in(lines[250:])
    folder = live(made)
    for number in packable(folder, Cursor.objects.get(feed=made.feed, lane="live").segment)[:4]:
        pack(folder, number)
    return made


def live(table):
    return journal_folder(table.feed.name, "live")


def found(table):
    return {finding.what: finding.text for finding in check_feed(table.feed).findings}


def sql(statement, *values):
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        assert cursor.rowcount == 1


def test_a_clean_source_has_nothing_to_say_and_all_of_it_was_read(table):
    done = check_feed(table.feed)
    assert done.findings == []
    segments = [journal_folder(table.feed.name, lane) for lane in ("live", "backfill")]
    assert done.segments == sum(len(segment_numbers(folder)) for folder in segments)
    assert done.lines == 300 + 150
    assert done.events == Event.objects.count() == 400
    assert done.arcs == Arc.objects.count() > 50


@pytest.mark.parametrize("numbered", [True, False])
@pytest.mark.parametrize("seed", range(2))
def test_late_repeated_refused_and_reread_lines_are_no_faults(tmp_path, seed, numbered):
    chance = random.Random(seed)
    lines = simulate(seed, 120)
    made = Table(tmp_path, numbered=numbered, window_s=1.0)
    at = 0
    while at < len(lines):
        step = chance.randrange(1, 40)
        some = lines[at : at + step]
        chance.shuffle(some)
        made.hear(some + chance.sample(lines[:at], min(at, 3)))
        with made.live.open("a") as file:
            file.write(f"nonsense {at}\n")
        if chance.random() < 0.4:
            first = chance.randrange(len(lines))
            made.read_in(lines[first : first + 60])
        at += step
    assert check_feed(made.feed).findings == []
    made.live.rename(made.folder / "old.csv")  # rotated away, a new one begins
    made.live.write_text(made.text(lines[-20:]))
    run_once([made.feed])
    assert check_feed(made.feed).findings == []
    rebuild(made.feed)
    assert check_feed(made.feed).findings == []


def test_a_mended_description_and_a_corrected_clock_are_no_faults(table):
    with table.live.open("a") as file:
        file.write("9001,2026-03-11T06:00:00,1,PIERCED,x\n9002,2026-03-11T06:00:01,1,STILL NOT,x\n")
    run_once([table.feed])
    assert Reject.objects.count() == 2
    text = feed_text(table.live).replace('["PIERCE"]', '["PIERCE", "PIERCED"]')
    table.feed = feed_register(name="n", text=text, by="test")
    run_once([table.feed])
    assert Reject.objects.filter(mended_version=2).count() == 1
    assert check_feed(table.feed).findings == []
    clock_correct(feed=table.feed, offset_us=90_000_000, by="test")
    table.feed.refresh_from_db()
    assert check_feed(table.feed).findings == []  # not journaled yet
    table.hear(simulate(11, 420)[400:])
    assert set(Event.objects.values_list("clock_version", flat=True)) == {1}
    assert check_feed(table.feed).findings == []
    event = Event.objects.order_by("at_us").first()
    sql("UPDATE telemetry_event SET clock_version = 0 WHERE key = %s", bytes(event.key))
    assert {"lines changed", "lines mistimed"} <= found(table).keys()


@pytest.mark.parametrize("packed", [True, False])
def test_one_flipped_bit_in_any_segment_is_found_and_named(table, packed):
    folder = live(table)
    numbers = [n for n in segment_numbers(folder) if packed_path(folder, n).exists() is packed]
    for number in numbers:
        path = (packed_path if packed else segment_path)(folder, number)
        whole = path.read_bytes()
        broken = bytearray(whole)
        broken[len(broken) // 2] ^= 0x10
        path.write_bytes(broken)
        told = found(table)
        assert {"records missing", "segment damaged", "journal too short"} & told.keys()
        assert any(path.name in text for text in told.values()) or number == max(numbers)
        path.write_bytes(whole)
    assert found(table) == {}


@pytest.mark.parametrize("which", ["first", "middle", "last"])
def test_a_segment_that_is_gone_is_found_and_named(table, which):
    folder = live(table)
    numbers = segment_numbers(folder)
    number = {"first": numbers[0], "middle": numbers[2], "last": numbers[-1]}[which]
    for path in (segment_path(folder, number), packed_path(folder, number)):
        path.unlink(missing_ok=True)
    told = found(table)
    if which == "last":
        assert "its journal ends" in told["journal too short"]
    else:
        assert f"segment {number} is not there" in told["records missing"]


def test_an_event_that_was_dropped_added_or_changed_is_found(table):
    event = Event.objects.filter(kind=1).order_by("at_us")[5]
    moved = event.at_us + 1
    sql("UPDATE telemetry_event SET at_us = %s WHERE key = %s", moved, bytes(event.key))
    assert found(table)["lines changed"].startswith("There is 1 line of n that is stored otherwise")
    sql("UPDATE telemetry_event SET at_us = %s WHERE key = %s", event.at_us, bytes(event.key))
    sql("DELETE FROM telemetry_event WHERE key = %s", bytes(event.key))
    told = found(table)
    assert "1 line of the journal of n that is not stored" in told["lines missing"]
    assert "arcs differ" in told
    event.key = bytes(16)
    event.save(force_insert=True)
    assert "lines extra" in found(table)


def test_an_arc_made_longer_is_found_and_so_are_its_sums(table):
    arc = Arc.objects.filter(ended="off").order_by("on_us")[3]
    Arc.objects.filter(pk=arc.pk).update(off_us=arc.off_us + 60_000_000)
    told = found(table)
    assert arc.key.rpartition("|")[2] in told["arcs differ"]
    assert "1 changed" in told["arcs differ"]
    assert "says" in told["sums differ"]


def test_arcs_that_are_gone_too_many_or_of_another_source_are_found(table):
    arc = Arc.objects.order_by("on_us")[3]
    Arc.objects.filter(pk=arc.pk).update(key=arc.key.replace("n|", "m|", 1))
    assert "1 missing, 0 changed, 1 too many" in found(table)["arcs differ"]
    arc.delete()
    assert "1 missing, 0 changed, 0 too many" in found(table)["arcs differ"]


def test_a_sum_that_is_wrong_gone_or_too_many_is_found(table):
    some = Rollup.objects.order_by("bucket_us")[2]
    Rollup.objects.filter(pk=some.pk).update(burn_us=some.burn_us + 1_500_000)
    assert f"its arcs {some.burn_us / 1e6:.1f} s" in found(table)["sums differ"]
    Rollup.objects.filter(pk=some.pk).delete()
    assert "has no sum" in found(table)["sums differ"]
    some.save(force_insert=True)
    some.pk, some.bucket_us = None, some.bucket_us - 900_000_000 * 1000
    some.save(force_insert=True)
    assert "has a sum and no arc" in found(table)["sums differ"]


def test_a_cursor_that_was_moved_is_found_either_way(table):
    cursor = Cursor.objects.get(feed=table.feed, lane="live")
    Cursor.objects.filter(pk=cursor.pk).update(sequence=cursor.sequence + 50)
    assert "its journal ends" in found(table)["journal too short"]
    Cursor.objects.filter(pk=cursor.pk).update(sequence=5)
    assert {"lines extra", "lines miscounted"} <= found(table).keys()


def test_refused_lines_and_repeats_are_held_against_the_journal(table):
    with table.live.open("a") as file:
        file.write("nonsense\n")
    table.hear([simulate(11, 400)[299]] * 2)
    assert found(table) == {}
    assert Repeat.objects.get().times == 2
    Repeat.objects.update(times=1)
    assert "repeats miscounted" in found(table)
    Repeat.objects.all().delete()
    assert "repeats miscounted" in found(table)
    Reject.objects.update(raw=b"something else")
    assert "1 are stored otherwise" in found(table)["refused lines differ"]
    Reject.objects.all().delete()
    assert "1 of the journal are not stored" in found(table)["refused lines differ"]


def test_sorting_and_comparing_hold_beyond_what_fits_in_memory(tmp_path, monkeypatch):
    monkeypatch.setattr("telemetry.verify.sorting._RUN", 100)
    monkeypatch.setattr("telemetry.verify.sorting._BLOCK", 7)
    chance = random.Random(3)
    keys = [chance.randbytes(16) for _ in range(2_000)]
    left, right = Sorter(tmp_path), Sorter(tmp_path)
    left.extend(row(key, n, n) for n, key in enumerate(keys))
    left.extend(row(key, -1, 0) for key in keys[:50])  # another mark for the same key
    order = list(enumerate(keys))
    chance.shuffle(order)
    lost, changed, new = keys[70], keys[80], b"\xff" * 16
    marks = [(key, n + (key == changed)) for n, key in order if key != lost] + [(new, 0)]
    right.extend(row(key, mark) for key, mark in marks)
    differences = list(compare(left, right))
    assert list(left) == sorted(left)
    wanted = {("missing", lost), ("changed", changed), ("extra", new)}
    assert {(d.kind, row(key, 0)[:2]) for d in differences for key in [_bytes(d)]} == {
        (kind, row(key, 0)[:2]) for kind, key in wanted
    }
    left.close()
    right.close()


def _bytes(difference: Difference) -> bytes:
    return difference.entry[0].to_bytes(8) + difference.entry[1].to_bytes(8)
