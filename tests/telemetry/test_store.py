"""Whatever the order in which lines come in, what is stored is the pairing of all of them."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from django.db import OperationalError, connection

from telemetry.backfill import backfill
from telemetry.description import parse_description
from telemetry.models import Arc, Event, Gap, Reject, Rollup, Stray
from telemetry.rebuild import rebuild
from telemetry.sample import as_json, decode_sample
from telemetry.selectors import arcs_gone_since, feed_status
from telemetry.services import clock_correct, feed_register
from telemetry.store.mend import mendable
from telemetry.worker import run_once
from tests.telemetry.table_lines import arcs_of, feed_text, simulate, strays_of

pytestmark = pytest.mark.django_db

QUARTER_US = 900_000_000


def stored_arcs() -> set[tuple]:
    return set(Arc.objects.values_list("torch", "on_us", "off_us", "ended", "pierces", "program"))


def everything() -> dict[str, set]:
    """All that a rebuild must give again, to the last column but the instant of change."""
    arcs = [f.attname for f in Arc._meta.fields if f.name not in ("id", "changed_us")]
    events = [f.attname for f in Event._meta.fields if f.name != "pk"]
    rejects = [f.attname for f in Reject._meta.fields if f.name not in ("id", "raw")]
    gaps = [f.attname for f in Gap._meta.fields if f.name != "id"]
    return {
        "arcs": set(Arc.objects.values_list(*arcs)),
        "events": {
            tuple(bytes(v) if isinstance(v, memoryview) else v for v in row)
            for row in Event.objects.values_list(*events)
        },
        "rejects": set(Reject.objects.values_list(*rejects)),
        "gaps": set(Gap.objects.values_list(*gaps)),
        "strays": set(Stray.objects.values_list("torch", "at_us", "kind", "event_key")),
        "rollups": set(
            Rollup.objects.values_list("torch", "bucket_us", "burn_us", "arcs", "pierces")
        ),
    }


def slow_rollups() -> set[tuple]:
    """Each bucket of each torch summed on its own from all arcs."""
    arcs = list(Arc.objects.all())
    if not arcs:
        return set()
    first = min(arc.on_us for arc in arcs) // QUARTER_US
    last = max(arc.off_us or arc.on_us for arc in arcs) // QUARTER_US
    rows = set()
    for torch in {arc.torch for arc in arcs}:
        for n in range(first, last + 1):
            start, end = n * QUARTER_US, (n + 1) * QUARTER_US
            mine = [arc for arc in arcs if arc.torch == torch]
            burn = sum(max(0, min(a.off_us or 0, end) - max(a.on_us, start)) for a in mine)
            begun = [arc for arc in mine if start <= arc.on_us < end]
            if burn or begun:
                rows.add((torch, start, burn, len(begun), sum(a.pierces for a in begun)))
    return rows


class Table:
    """One feed on a growing file, and slices of it read in by hand."""

    def __init__(self, folder: Path, *, numbered: bool, window_s: float = 2.0) -> None:
        self.folder, self.numbered = folder, numbered
        self.live = folder / "live.csv"
        self.live.touch()
        text = feed_text(self.live, numbered=numbered, window_s=window_s)
        self.feed = feed_register(name="n", text=text, by="test")
        self.slices = 0

    def text(self, lines) -> str:
        return "".join(line.text(numbered=self.numbered) + "\n" for line in lines)

    def hear(self, lines) -> None:
        with self.live.open("a") as file:
            file.write(self.text(lines))
        run_once([self.feed])

    def read_in(self, lines):
        self.slices += 1
        path = self.folder / f"slice{self.slices}.csv"
        path.write_text(self.text(lines))
        return backfill(self.feed, path, lambda done, of: None)

    def sample(self, lines) -> dict:
        description = parse_description(feed_text("x", numbered=self.numbered))
        return as_json(decode_sample(description, [self.text(lines).encode()]), description)


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

    monkeypatch.setattr("telemetry.rebuild.rebuild", locked)
    feed = feed_register(name="n", text=LEVEL.format(path=path, words='off = ["OPEN"]'), by="test")
    with pytest.raises(OperationalError):
        run_once([feed])
    assert (seconds_burnt(), feed_status(feed)["rejected"]) == ([(10, None)], 1)
    monkeypatch.undo()
    run_once([feed])
    assert (seconds_burnt(), feed_status(feed)["rejected"]) == ([(10, 10.0), (30, None)], 0)


def test_an_error_of_the_driver_is_the_databases_and_the_same_rows_are_tried_again(
    tmp_path, monkeypatch
):
    """Rows go over the raw driver; a fault it names must not pass for one of our own."""

    def gone(feed_id, rows):
        raise connection.Database.OperationalError("the server closed the connection")

    table = Table(tmp_path, numbered=True)
    monkeypatch.setattr("telemetry.store.rows.insert_events", gone)
    with pytest.raises(OperationalError):
        table.hear(simulate(3, 60))
    assert Event.objects.count() == 0
    monkeypatch.undo()
    run_once([table.feed])
    assert Event.objects.count() == 60
    assert feed_status(table.feed)["events"] == 60


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
