"""A description, clock or zone put right later makes what it would have made from the start."""

from __future__ import annotations

import json

import pytest
from django.db import OperationalError

from telemetry.models import Arc, Event, Stray
from telemetry.selectors import feed_status
from telemetry.services import clock_correct, feed_register
from telemetry.store.reread_rejects import mendable
from telemetry.worker import run_once
from telemetry.worker.backfill import backfill
from telemetry.worker.rebuild import rebuild
from tests.telemetry.stored import Table, everything, slow_rollups
from tests.telemetry.table_lines import feed_text, simulate

pytestmark = pytest.mark.django_db


def test_a_mended_description_reads_refused_lines_again(tmp_path):
    table = Table(tmp_path, numbered=True)
    table.live.write_text(
        "1,2026-03-10T06:00:00,1,ARC ON,\n"
        "2,2026-03-10T06:00:10,1,BURN END,\n"
        "3,2026-03-10T06:00:30,1,ARC ON,\n"
        "4,2026-03-10T06:00:35,1,ARC OFF,\n"
    )
    run_once([table.feed])
    first = Arc.objects.order_by("on_us").first()
    assert (first.ended, feed_status(table.feed)["rejected"]) == ("lost", 1)
    text = feed_text(table.live).replace('["ARC OFF"]', '["ARC OFF", "BURN END"]')
    feed = feed_register(name="n", text=text, by="test")
    assert feed.version == 2
    run_once([feed])
    first.refresh_from_db()
    assert (first.ended, first.seconds) == ("off", 10.0)
    status = feed_status(feed)
    assert [status[k] for k in ("lines", "events", "rejected")] == [4, 4, 0]
    before = everything()
    rebuild(feed)
    assert everything() == before


LEVEL = """
table = "north"
[source]
kind = "csv_file"
path = {path}
[line]
format = "level"
columns = ["time", "level"]
{words}
[time]
zone = "UTC"
"""


def seconds_burnt() -> list[tuple]:
    arcs = Arc.objects.order_by("on_us")
    return [(arc.on_us // 1_000_000 % 3600, arc.seconds) for arc in arcs]


@pytest.mark.parametrize("moved_too", [False, True])
def test_polls_of_a_bare_contact_that_were_refused_change_what_those_after_them_mean(
    tmp_path, moved_too
):
    live = tmp_path / "live.csv"
    path = json.dumps(str(live))
    polls = ("00,0", "10,1", "20,OPEN", "30,1", "40,0", "50,OPEN", "55,?")
    live.write_text("".join(f"2026-03-10T06:00:{poll}\n" for poll in polls))
    feed = feed_register(name="n", text=LEVEL.format(path=path, words=""), by="test")
    run_once([feed])
    # Without the contact's opening at 06:00:20 it looks like one arc of 30 s.
    assert seconds_burnt() == [(10, 30.0)]
    assert feed_status(feed)["rejected"] == 3
    # A word that only the first description lists goes on meaning what it meant then.
    words = 'off = ["OPEN"]' if moved_too else 'off = ["0", "OPEN"]'
    text = LEVEL.format(path=path, words=words)
    assert mendable(feed, text) == (3, 2)
    feed = feed_register(name="n", text=text, by="test")
    run_once([feed])
    assert seconds_burnt() == [(10, 10.0), (30, 10.0)]
    assert feed_status(feed)["rejected"] == 1
    before = everything()
    rebuild(feed)
    assert everything() == before
    with live.open("a") as file:
        file.write("2026-03-10T06:01:00,1\n2026-03-10T06:01:07,OPEN\n")
    run_once([feed])
    assert seconds_burnt() == [(10, 10.0), (30, 10.0), (60, 7.0)]


def test_polls_that_could_not_be_read_again_just_now_are_later(tmp_path, monkeypatch):
    live = tmp_path / "live.csv"
    path = json.dumps(str(live))
    live.write_text("".join(f"2026-03-10T06:00:{poll}\n" for poll in ("10,1", "20,OPEN", "30,1")))
    feed = feed_register(name="n", text=LEVEL.format(path=path, words=""), by="test")
    run_once([feed])

    def locked(feed):
        raise OperationalError("locked")

    monkeypatch.setattr("telemetry.worker.rebuild.rebuild", locked)
    feed = feed_register(name="n", text=LEVEL.format(path=path, words='off = ["OPEN"]'), by="test")
    with pytest.raises(OperationalError):
        run_once([feed])
    assert (seconds_burnt(), feed_status(feed)["rejected"]) == ([(10, None)], 1)
    monkeypatch.undo()
    run_once([feed])
    assert (seconds_burnt(), feed_status(feed)["rejected"]) == ([(10, 10.0), (30, None)], 0)


def test_a_corrected_clock_moves_arcs_keeps_stamps_and_survives_a_rebuild(tmp_path):
    # The controller is 7 minutes slow: what it stamped 09:56 was 10:03.
    table = Table(tmp_path, numbered=True)
    table.live.write_text(
        "1,2026-03-10T09:40:00,1,ARC ON,\n2,2026-03-10T09:41:00,1,ARC OFF,\n"
        "3,2026-03-10T09:56:00,1,ARC ON,\n4,2026-03-10T09:57:00,1,ARC OFF,\n"
    )
    run_once([table.feed])
    keys = list(Arc.objects.order_by("on_us").values_list("key", flat=True))
    unmoved, moved = Arc.objects.order_by("on_us").values_list("on_us", flat=True)
    seven_us = 7 * 60 * 1_000_000
    clock_correct(feed=table.feed, offset_us=seven_us, from_us=moved, by="Dana Okell")
    table.feed.refresh_from_db()
    with table.live.open("a") as file:
        file.write("5,2026-03-10T10:13:00,1,ARC ON,\n6,2026-03-10T10:13:30,1,ARC OFF,\n")
    run_once([table.feed])
    arcs = list(Arc.objects.order_by("on_us"))
    assert [arc.key for arc in arcs][:2] == keys
    assert [arc.on_us for arc in arcs] == [
        unmoved,
        moved + seven_us,
        moved + seven_us + 17 * 60_000_000,
    ]
    assert [arc.clock_version for arc in arcs] == [0, 1, 1]
    assert [arc.seconds for arc in arcs] == [60.0, 60.0, 30.0]
    assert set(Event.objects.values_list("stamp", flat=True)) >= {"2026-03-10T09:56:00"}
    assert {tuple(row) for row in everything()["rollups"]} == slow_rollups()
    before = everything()
    rebuild(table.feed)
    assert everything() == before


def test_a_corrected_clock_moves_strays_too(tmp_path):
    table = Table(tmp_path, numbered=True)
    table.live.write_text("1,2026-03-10T09:40:00,1,PIERCE,\n2,2026-03-10T09:41:00,1,ARC OFF,\n")
    run_once([table.feed])
    before = sorted(Stray.objects.values_list("at_us", "event_key"))
    clock_correct(feed=table.feed, offset_us=7_000_000, by="Dana Okell")
    table.feed.refresh_from_db()
    with table.live.open("a") as file:
        file.write("3,2026-03-10T10:13:00,1,ARC ON,\n")
    run_once([table.feed])
    after = sorted(Stray.objects.values_list("at_us", "event_key"))
    assert len(before) == 2
    assert after == [(at_us + 7_000_000, key) for at_us, key in before]


def test_a_corrected_zone_does_not_double_history(tmp_path):
    lines = simulate(5, 80)
    table = Table(tmp_path, numbered=True)
    table.hear(lines)
    text = feed_text(table.live).replace('zone = "UTC"', 'zone = "America/Chicago"')
    feed = feed_register(name="n", text=text, by="test")
    path = tmp_path / "again.csv"
    path.write_text(table.text(lines))
    done = backfill(feed, path, lambda done, of: None)
    assert (done.events, done.known) == (0, 80)
    assert Event.objects.count() == 80
