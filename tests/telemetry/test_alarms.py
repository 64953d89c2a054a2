"""One list of all that a person must look at, and where it is read."""

from __future__ import annotations

import json
import shutil
from collections import namedtuple

import pytest
from django.core.management import call_command

from telemetry import alarms
from telemetry.alarms import standing_alarms
from telemetry.locks import Lock
from telemetry.models import Alarm, Cursor, Feed, Health
from telemetry.paths import lock_path
from telemetry.services import feed_register
from tests.telemetry.table_lines import feed_text

pytestmark = pytest.mark.django_db
NOW, MINUTE = 1_773_000_000_000_000, 60_000_000
Disk = namedtuple("Disk", "total used free")


@pytest.fixture
def roomy(monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda path: Disk(1 << 40, 1 << 39, 1 << 39))


@pytest.fixture
def feed(tmp_path, roomy):
    made = feed_register(name="acme-north", text=feed_text(tmp_path / "n.csv"), by="test")
    Feed.objects.update(created_us=NOW - 60 * MINUTE)
    return made


def health(feed, **values) -> None:
    base = {"link": "open", "since_us": NOW - 30 * MINUTE, "beat_us": NOW}
    Health.objects.update_or_create(feed=feed, defaults={**base, "message": "", **values})


def codes() -> list[str]:
    return [alarm.code for alarm in standing_alarms(NOW)]


def test_an_empty_shop_and_one_that_is_well_have_none(roomy, tmp_path):
    assert codes() == []
    feed = feed_register(name="n", text=feed_text(tmp_path / "n.csv"), by="test")
    Feed.objects.update(created_us=NOW - 60 * MINUTE)
    Cursor.objects.create(feed=feed, lane="live", last_line_us=NOW - MINUTE)
    lock = Lock(lock_path("n", "live"), "n")
    health(feed)
    assert codes() == []
    lock.release()


def test_intake_that_does_not_run_and_one_that_hangs(feed):
    assert codes() == ["intake not running"]
    health(feed, beat_us=NOW - 10_000_000)  # it may run on a machine whose locks are not seen here
    assert codes() == []
    health(feed, beat_us=NOW - MINUTE)
    assert codes() == ["intake not running"]
    lock = Lock(lock_path(feed.name, "live"), "n")
    [found] = standing_alarms(NOW)
    assert (found.code, found.since_us, found.pk) == ("intake hangs", NOW - MINUTE, None)
    # A beat from the future is one of before the clock was set back: nobody has beaten since.
    health(feed, beat_us=NOW + 60 * MINUTE)
    [found] = standing_alarms(NOW)
    assert (found.code, found.since_us) == ("intake hangs", NOW)
    lock.release()
    Feed.objects.update(created_us=NOW - 1_000_000)  # just added: intake is given a minute
    assert codes() == []


@pytest.mark.parametrize(
    ("state", "code", "message"),
    [
        ({"link": "failed", "message": "port: nonsense"}, "source not read", "port: nonsense"),
        ({"link": "waiting", "message": "no such port"}, "source not read", "no such port"),
        ({"link": "waiting", "since_us": NOW - 30_000_000}, None, None),
        ({}, "source silent", "no line has come for ten minutes"),
    ],
)
def test_sources_that_are_not_read_or_silent(feed, state, code, message):
    Cursor.objects.create(feed=feed, lane="live", last_line_us=NOW - 11 * MINUTE)
    lock = Lock(lock_path(feed.name, "live"), "n")
    health(feed, **state)
    found = standing_alarms(NOW)
    lock.release()
    assert [one.code for one in found] == ([code] if code else [])
    for one in found:
        assert message in one.message
        assert one.source == "acme-north"


@pytest.mark.parametrize(
    ("total", "free", "nearly"),
    [
        (1 << 40, 1 << 39, False),
        (1 << 40, 11 << 30, False),  # ten gigabytes are enough on any disk
        (1 << 40, 9 << 30, True),
        (100 << 30, 6 << 30, False),
        (100 << 30, 4 << 30, True),
        (8 << 30, 2 << 30, False),
        (8 << 30, 900 << 20, True),
    ],
)
def test_a_disk_that_is_nearly_full(monkeypatch, total, free, nearly):
    monkeypatch.setattr(shutil, "disk_usage", lambda path: Disk(total, total - free, free))
    assert codes() == (["disk nearly full"] if nearly else [])


def test_what_intake_noted_stands_until_somebody_has_seen_to_it(feed):
    health(feed)
    row = Alarm.objects.create(feed=feed, code="lines missing", message="t.csv.2", at_us=NOW - 9)
    Alarm.objects.create(feed=None, code="host clock", message="went back", at_us=NOW - 5)
    Alarm.objects.create(feed=feed, code="old", message="", at_us=1, cleared_us=2)
    assert [(a.code, a.source) for a in standing_alarms(NOW)] == [
        ("host clock", ""), ("lines missing", "acme-north"),
    ]  # fmt: skip
    assert standing_alarms(NOW)[1].pk == row.pk


def test_they_reach_status_with_their_keys(feed, capsys):
    Alarm.objects.create(feed=feed, code="lines missing", message="t.csv.2 is gone", at_us=NOW)
    call_command("status", "--json")
    told = json.loads(capsys.readouterr().out)
    assert told["feeds"][0]["name"] == "acme-north"
    assert {"code": "lines missing", "source": "acme-north", "message": "t.csv.2 is gone",
            "since": "2026-03-08T20:00:00Z"} in told["alarms"]  # fmt: skip
    call_command("status")
    assert "ALARM acme-north: lines missing: t.csv.2 is gone" in capsys.readouterr().out


def test_a_stranger_hears_the_codes_and_no_name(feed, client):
    Alarm.objects.create(feed=feed, code="lines missing", message="secret", at_us=NOW)
    Alarm.objects.create(feed=feed, code="lines missing", message="another", at_us=NOW)
    answer = client.get("/healthz")
    assert answer.status_code == 200
    told = answer.json()
    assert (told["status"], told["intake"]) == ("ok", "alarm")
    assert told["alarms"] == ["intake not running", "lines missing"]
    assert "acme" not in answer.content.decode()
    assert "secret" not in answer.content.decode()


def test_they_reach_today_but_for_silence_which_the_table_says(feed, north, utc):
    from planning.reports.notes.at_desk import of_alarms
    from planning.reports.notes.reading import of_found
    from shopfloor.runs.arcs import to_us

    now = utc(2026, 3, 8, 20)

    def alarm_notes(now):
        return of_found(of_alarms(to_us(now)), [], now, now.tzinfo)

    health(feed)
    for n in range(7):
        Alarm.objects.create(feed=feed, code="lines missing", message=f"t.csv.{n}", at_us=NOW - n)
    notes = alarm_notes(now)
    assert [note.head for note in notes] == ["Lines missing"] * 5 + ["More alarms"]
    assert notes[0].body == "acme-north: t.csv.0."
    assert (notes[0].acts[0].code, notes[0].acts[0].target) == ("feed", "acme-north")
    assert notes[-1].body == "2 more alarms of intake on Sources."
    Alarm.objects.all().delete()
    Cursor.objects.create(feed=feed, lane="live", last_line_us=NOW - 11 * MINUTE)
    lock = Lock(lock_path(feed.name, "live"), "n")
    assert codes() == [alarms.SILENT]
    assert alarm_notes(now) == []
    lock.release()
