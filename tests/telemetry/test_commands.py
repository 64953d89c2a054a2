from __future__ import annotations

import io
import json

import pytest
from django.core.management import call_command

from telemetry.management.commands import backfill
from telemetry.models import Arc, Cursor, Feed
from telemetry.services import feed_register
from telemetry.worker import run_once
from tests.processes import environment, manage
from tests.telemetry.table_lines import feed_text, simulate

pytestmark = pytest.mark.django_db


def refused(*words: str) -> str:
    """The one line a command says when it refuses."""
    err = io.StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command(*words, stderr=err)
    assert stop.value.code == 2
    said = err.getvalue()
    assert said.count("\n") == 1
    return said.strip()


def answer(*words: str) -> dict:
    out = io.StringIO()
    call_command(*words, "--json", stdout=out)
    return json.loads(out.getvalue())


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("".join(x.text(numbered=True) + "\n" for x in simulate(1, 50)))
    return path


@pytest.fixture
def feed(path) -> Feed:
    return feed_register(name="t", text=feed_text(path), by="test")


def test_status_of_a_feed_that_never_gave_a_line_says_never_and_knows_no_pierces(feed):
    (row,) = answer("status")["feeds"]
    # The keys scripts rely on, with their values before anything came.
    expected = {
        "name": "t", "table": "north", "torch": None, "lines": 0, "events": 0, "rejected": 0,
        "duplicates": 0, "gaps": 0, "stray_offs": 0, "stray_pierces": 0, "arcs": 0,
        "arc_seconds": 0.0, "pierces": None, "last_line": None, "state": "never",
    }  # fmt: skip
    assert {key: row[key] for key in expected} == expected


def test_a_feed_that_cannot_know_pierces_shows_none_not_zero(path):
    text = feed_text(path).replace('pierce = ["PIERCE"]\n', "")
    feed = feed_register(name="t", text=text, by="test")
    run_once([feed])
    (row,) = answer("status")["feeds"]
    assert row["arcs"] > 0
    assert row["pierces"] is None
    assert not Arc.objects.exclude(pierces=None).exists()


def test_intake_once_and_status_agree(feed):
    first = answer("intake", "t", "--once")["feeds"]
    again = answer("status")["feeds"]
    assert first[0]["lines"] == again[0]["lines"] == 50
    assert again[0]["state"] == "off"


def test_unknown_names_files_and_dates_are_refused_in_one_line(feed, tmp_path):
    assert refused("intake", "nosuch", "--once") == "no feed is called 'nosuch', there are: t"
    missing = tmp_path / "missing.csv"
    assert refused("backfill", "t", str(missing)) == f"{missing}:1: No such file or directory"
    assert refused("rebuild", "--from", "yesterday") == (
        "--from: 'yesterday' is not a date, allowed: YYYY-MM-DD"
    )
    utf16 = tmp_path / "wide.csv"
    utf16.write_text("1,2026-03-10T06:00:00,1,ARC ON,\n", encoding="utf-16")
    assert refused("backfill", "t", str(utf16)) == (
        f"{utf16}:1: this is UTF-16 text, save it as UTF-8"
    )


def test_a_reading_stopped_by_hand_says_how_to_go_on(feed, path, monkeypatch):
    def interrupted(work, progress):
        raise KeyboardInterrupt

    monkeypatch.setattr(backfill, "backfill_all", interrupted)
    err = io.StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("backfill", "t", str(path), stderr=err)
    assert stop.value.code == 130
    assert err.getvalue() == "stopped: what was read stays read, run it again to go on\n"


def test_a_file_for_a_feed_that_is_timed_by_arrival_is_refused(tmp_path):
    text = (
        'table = "north"\n[source]\nkind = "serial"\nport = "/dev/null"\n[line]\nformat = "level"\n'
        '[time]\nfrom = "arrival"\n[knows]\ncontact = "transfer"\n'
    )
    feed_register(name="bare", text=text, by="test")
    file = tmp_path / "levels.txt"
    file.write_text("1\n0\n")
    assert refused("backfill", "bare", str(file)).startswith("bare: its times are those of arrival")


def test_a_file_for_a_level_that_is_read_live_is_refused(tmp_path):
    path = tmp_path / "levels.csv"
    path.write_text("2026-03-10T06:00:00Z,1\n2026-03-10T06:00:05Z,0\n")
    text = (
        f'table = "north"\n[source]\nkind = "csv_file"\npath = "{path}"\n[line]\nformat = "level"\n'
        'columns = ["time", "level"]\n[knows]\ncontact = "transfer"\n'
    )
    feed = feed_register(name="bare", text=text, by="test")
    answer("backfill", "bare", str(path))
    assert Arc.objects.get().seconds == 5.0
    run_once([feed])
    assert Cursor.objects.get(lane="live").known == 2
    assert refused("backfill", "bare", str(path)).startswith("bare: a bare level read live")


def test_a_pushed_feed_takes_files_too(path):
    text = feed_text("x").replace('kind = "csv_file"\npath = "x"', 'kind = "push"')
    feed_register(name="p", text=text, by="test")
    assert answer("intake", "p", "--once")["feeds"][0]["state"] == "never"
    assert answer("backfill", "p", str(path))["lines"] == 50


@pytest.mark.slow
def test_a_missing_database_is_made_by_the_command_that_first_needs_it(tmp_path):
    done = manage("status", "--json", env=environment(tmp_path / "fresh"))
    assert (done.returncode, json.loads(done.stdout)) == (0, {"feeds": [], "alarms": []})
    assert (tmp_path / "fresh" / "kerfbook.sqlite3").exists()


def feeds_of_two_tables(tmp_path) -> list[str]:
    """NAME FILE of two feeds, one with a second file that overlaps its first."""
    words = []
    for name in ("north", "south"):
        path = tmp_path / f"{name}.csv"
        lines = [x.text(numbered=True) + "\n" for x in simulate(len(name), 400)]
        path.write_text("".join(lines[:300]))
        feed_register(name=name, text=feed_text(path).replace("north", name), by="test")
        words += [name, str(path)]
    more = tmp_path / "more.csv"
    more.write_text("".join(lines[100:]))
    return [*words, "south", str(more)]


@pytest.mark.django_db(transaction=True)
def test_files_of_several_feeds_come_to_what_each_by_itself_comes_to(tmp_path):
    words = feeds_of_two_tables(tmp_path)
    found = answer("backfill", *words)["files"]
    assert [(one["feed"], one["file"]) for one in found] == list(
        zip(words[::2], words[1::2], strict=True)
    )
    assert [(one["lines"], one["known"]) for one in found] == [(300, 0), (300, 0), (100, 200)]
    together = list(Arc.objects.order_by("key").values_list("key", "on_us", "off_us", "pierces"))
    assert len(together) > 40
    again = answer("backfill", *words)["files"]
    assert all(one["already_read"] for one in again)
    assert refused("backfill", *words[:3]) == "backfill: no file is named after 'south'"
    missing = str(tmp_path / "nosuch.csv")
    assert refused("backfill", *words, "north", missing).startswith(f"{missing}:1: No such file")
    for feed in Feed.objects.all():
        arcs = [arc for arc in together if arc[0].startswith(f"{feed.name}|")]
        alone = feed_register(name=f"{feed.name}-alone", text=feed_text(tmp_path), by="test")
        for name, path in zip(words[::2], words[1::2], strict=True):
            if name == feed.name:
                answer("backfill", alone.name, path)
        found = Arc.objects.filter(feed=alone).order_by("key")
        assert [(f"{feed.name}|{a.key.partition('|')[2]}", a.on_us, a.off_us, a.pierces)
                for a in found] == arcs  # fmt: skip
