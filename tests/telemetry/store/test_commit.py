"""Whatever the order in which lines come in, what is stored is the pairing of all of them."""

from __future__ import annotations

import random

import pytest
from django.db import OperationalError, connection

from telemetry.models import Arc, Cursor, Event, Rollup, Stray
from telemetry.selectors import arcs_gone_since, feed_status
from telemetry.store.sql import sql
from telemetry.worker import run_once
from telemetry.worker.backfill import backfill
from telemetry.worker.rebuild import rebuild
from tests.telemetry.stored import Table, everything, slow_rollups, stored_arcs
from tests.telemetry.table_lines import arcs_of, simulate, strays_of

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("numbered", [True, False])
@pytest.mark.parametrize("whole_seconds", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_live_lines_and_overlapping_files_in_any_order_come_to_one_history(
    tmp_path, seed, numbered, whole_seconds
):
    lines = simulate(seed, 400, whole_seconds=whole_seconds)
    table = Table(tmp_path, numbered=numbered)
    chance = random.Random(seed)
    cuts = sorted(chance.sample(range(400), 5))
    steps = [
        lambda a=a, b=b: table.hear(lines[a:b]) for a, b in [(cuts[1], cuts[2]), (cuts[2], cuts[3])]
    ]
    spans = [(0, cuts[2]), (cuts[0], cuts[4]), (cuts[3], 400), (0, 400)]
    reads = [lambda a=a, b=b: table.read_in(lines[a:b]) for a, b in spans]
    chance.shuffle(reads)
    order = [*reads[:1], steps[0], *reads[1:3], steps[1], *reads[3:]]
    for step in order:
        step()
    assert stored_arcs() == arcs_of(lines)
    assert (
        Stray.objects.filter(kind="off").count(),
        Stray.objects.filter(kind="pierce").count(),
    ) == (strays_of(lines))
    assert {tuple(row) for row in everything()["rollups"]} == slow_rollups()
    status, sample = feed_status(table.feed), table.sample(lines)
    for name in (
        "lines",
        "events",
        "rejected",
        "duplicates",
        "gaps",
        "stray_offs",
        "stray_pierces",
    ):
        assert status[name] == sample[name], name
    before = everything()
    rebuild(table.feed)
    assert everything() == before


def test_a_rebuild_after_rows_were_spoilt_gives_what_live_intake_gave_with_the_same_keys(tmp_path):
    lines = simulate(7, 300)
    table = Table(tmp_path, numbered=True)
    table.hear(lines[:100])
    table.read_in(lines[200:])
    table.hear(lines[100:150])
    before, ids = everything(), dict(Arc.objects.values_list("key", "id"))
    counts = feed_status(table.feed)
    Arc.objects.filter(ended="off").update(off_us=1, pierces=99)
    Rollup.objects.update(burn_us=5)
    Stray.objects.all().delete()
    Event.objects.filter(kind=3)._raw_delete("default")
    rebuild(table.feed)
    assert everything() == before
    assert dict(Arc.objects.values_list("key", "id")) == ids
    again = feed_status(table.feed)
    assert {k: v for k, v in again.items() if k != "since"} == {
        k: v for k, v in counts.items() if k != "since"
    }


def test_a_rebuild_from_a_date_gives_the_same(tmp_path):
    lines = simulate(8, 300)
    table = Table(tmp_path, numbered=True)
    table.hear(lines[:250])
    table.read_in(lines[100:])
    before, counts = everything(), feed_status(table.feed)["lines"]
    middle = sorted(Arc.objects.values_list("on_us", flat=True))[40]
    Arc.objects.filter(on_us__gte=middle).update(pierces=77)
    rebuild(table.feed, from_us=middle)
    assert everything() == before
    assert feed_status(table.feed)["lines"] == counts


def test_intake_goes_on_behind_a_rebuild(tmp_path):
    lines = simulate(9, 200)
    table = Table(tmp_path, numbered=True)
    table.hear(lines[:120])
    rebuild(table.feed)
    table.hear(lines[120:])
    assert stored_arcs() == arcs_of(lines)


@pytest.mark.parametrize("set_back", ["to the start", "to half of it"])
def test_intake_set_back_in_its_journal_stores_nothing_twice(tmp_path, set_back):
    """As a database put back from a backup leaves it: the place is older than what is stored."""
    lines = simulate(11, 160)
    table = Table(tmp_path, numbered=True)
    table.hear(lines[:60])
    half = Cursor.objects.filter(feed=table.feed, lane="live").values().get()
    table.hear(lines[60:120])
    before = everything()
    if set_back == "to the start":
        Cursor.objects.filter(feed=table.feed).delete()
    else:
        Cursor.objects.filter(pk=half.pop("id")).update(**half)
    run_once([table.feed])
    assert everything() == before
    table.hear(lines[120:])
    assert stored_arcs() == arcs_of(lines)
    place = Cursor.objects.get(feed=table.feed, lane="live")
    assert place.lines + place.known == 160  # each counted once, as new or as known already


def test_the_same_file_read_in_twice_changes_nothing(tmp_path):
    lines = simulate(3, 150)
    table = Table(tmp_path, numbered=True)
    first = table.read_in(lines)
    before, status = everything(), feed_status(table.feed)
    again = table.read_in(lines)
    assert first.lines == 150
    assert again.already_read
    (tmp_path / "more.csv").write_text(table.text(lines) + "\n")  # one byte more: not the same file
    third = backfill(table.feed, tmp_path / "more.csv", lambda done, of: None)
    assert (third.lines, third.events, third.known) == (0, 0, 150)
    assert everything() == before
    now = feed_status(table.feed)
    assert {k: now[k] for k in now if k not in ("since", "last_line")} == {
        k: status[k] for k in status if k not in ("since", "last_line")
    }


def test_rejects_and_duplicates_read_again_count_once(tmp_path):
    table = Table(tmp_path, numbered=True)
    raw = (
        "1,2026-03-10T06:00:00,1,ARC ON,\n"
        "2,2026-03-10T06:00:01,1,WHAT,\n"
        "garbage\n"
        "garbage\n"
        "3,2026-03-10T06:00:02,1,PIERCE,\n"
        "3,2026-03-10T06:00:02,1,PIERCE,\n"
        "4,2026-03-10T06:00:09,1,ARC OFF,\n"
    )
    table.live.write_text(raw)
    run_once([table.feed])
    (tmp_path / "b.csv").write_text(raw + "5,2026-03-10T06:01:00,1,ARC ON,\n")
    backfill(table.feed, tmp_path / "b.csv", lambda done, of: None)
    status = feed_status(table.feed)
    # 8 lines: 4 events, 3 rejects (an unlisted word, twice the same garbage), 1 repeat of seq 3.
    assert [status[k] for k in ("lines", "events", "rejected", "duplicates")] == [8, 4, 3, 1]
    assert status["pierces"] == 1


def test_a_file_that_fills_a_gap_closes_it(tmp_path):
    lines = simulate(4, 60)
    table = Table(tmp_path, numbered=True)
    table.hear(lines[:20] + lines[30:])
    assert feed_status(table.feed)["gaps"] == 1
    table.read_in(lines[15:35])
    assert feed_status(table.feed)["gaps"] == 0
    before = everything()
    rebuild(table.feed)
    assert everything() == before


def test_an_error_of_the_driver_is_the_databases_and_the_same_rows_are_tried_again(
    tmp_path, monkeypatch
):
    """Rows go over the raw driver; a fault it names must not pass for one of our own."""

    def gone(every, meanwhile):
        raise connection.Database.OperationalError("the server closed the connection")

    table = Table(tmp_path, numbered=True)
    monkeypatch.setattr(sql(), "add_events", gone)
    with pytest.raises(OperationalError):
        table.hear(simulate(3, 60))
    assert Event.objects.count() == 0
    monkeypatch.undo()
    run_once([table.feed])
    assert Event.objects.count() == 60
    assert feed_status(table.feed)["events"] == 60


def test_an_arc_that_a_rebuild_does_not_find_leaves_a_note_for_those_who_follow(tmp_path):
    table = Table(tmp_path, numbered=True)
    table.hear(simulate(3, 60))
    stray = Arc.objects.order_by("on_us").last()
    before = max(Arc.objects.values_list("changed_us", flat=True))
    stray.pk, stray.key, stray.on_us = None, "n|1|ffff", stray.on_us + 1
    stray.off_us, stray.ended, stray.changed_us = stray.on_us + 5, "off", before + 1
    stray.save(force_insert=True)
    rebuild(table.feed)
    (gone,) = arcs_gone_since()
    assert (gone.key, gone.table, gone.torch, gone.on_us) == (
        "n|1|ffff",
        "north",
        stray.torch,
        stray.on_us,
    )
    assert gone.changed_us > before + 1
    assert arcs_gone_since(gone.changed_us, gone.pk) == []
    assert not Arc.objects.filter(key="n|1|ffff").exists()
