"""Signal sources at the desk and by `addfeed`."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse

from shopfloor.models import Table, Torch
from telemetry.models import Feed, Reject
from tests.shopfloor.office.conftest import FEED

LINES = b"""1,2026-10-08T08:00:00,ARC ON,
2,2026-10-08T08:00:30,ARC OFF,
3,2026-10-08T08:01:00,WHAT <b>IS</b> THIS,
"""


@pytest.fixture
def page(sign_in, administrator):
    return sign_in(administrator)


def test_trying_a_description_stores_nothing(page, shop):
    answer = page.post(
        reverse("source_add"),
        {"name": "bay", "text": FEED, "sample": SimpleUploadedFile("l.csv", LINES), "do": "try"},
    )
    tried = answer.context["tried"]
    shown = tried.shown
    assert (shown["lines"], shown["events"], shown["rejected"]) == (3, 2, 1)
    assert [arc["seconds"] for arc in shown["arcs"]] == [30.0]
    assert tried.verdict == "1 of 3 lines could not be read; the others hold 1 arc."
    assert tried.strip is not None
    assert "<b>IS</b>" not in answer.content.decode()
    assert not Feed.objects.exists()
    assert not Table.objects.exists()


def test_a_new_source_makes_its_table_and_torch(page, shop):
    page.post(reverse("source_add"), {"name": "bay-1", "text": FEED.replace("north", "bay"),
                                      "do": "save"})  # fmt: skip
    table = Table.objects.get(code="bay")
    assert (table.name, table.arc_feed) == ("Bay", "bay-1")
    assert [torch.code for torch in table.torches.all()] == ["1"]


def test_a_changed_description_is_a_new_version(page, feed):
    url = reverse("source_change", args=[feed.name])
    page.post(url, {"name": feed.name, "text": FEED.replace('"ARC ON"', '"BURN"'), "do": "save"})
    feed.refresh_from_db()
    assert feed.version == 2
    page.post(url, {"name": feed.name, "text": FEED.replace('"ARC ON"', '"BURN"'), "do": "save"})
    feed.refresh_from_db()
    assert feed.version == 2


def test_a_wrong_description_names_its_line_and_stays_in_the_form(page, shop):
    text = FEED.replace('format = "columns"', 'format = "rows"')
    answer = page.post(reverse("source_add"), {"name": "bay", "text": text, "do": "save"})
    shown = answer.content.decode()
    assert "description:5: " in shown
    assert "format = &quot;rows&quot;" in shown
    assert not Feed.objects.exists()


def test_a_new_source_does_not_take_over_one_of_its_name(page, feed):
    answer = page.post(
        reverse("source_add"),
        {"name": feed.name, "text": FEED.replace("north", "south"), "do": "save"},
    )
    assert "is a source north-a already" in answer.content.decode()
    assert Feed.objects.get().table == "north"


def test_lines_that_could_not_be_read_are_shown_as_they_came(page, feed):
    Reject.objects.create(
        feed=feed, key="k", position=3, reason="unknown signal", raw=b"<script>x</script>\xff",
        received_us=1_790_000_000_000_000, feed_version=1,
    )  # fmt: skip
    text = page.get(reverse("source", args=[feed.name])).content.decode()
    assert "&lt;script&gt;x&lt;/script&gt;" in text
    assert "unknown signal: 1" in text


def test_a_source_nobody_reads_is_unknown_not_idle(page, feed):
    assert "nothing has ever come" in page.get(reverse("sources")).content.decode()


def test_a_corrected_clock_keeps_who_and_why(page, feed):
    url = reverse("source_act", args=[feed.name])
    page.post(url, {"do": "clock", "seconds": "420", "reason": "7 minutes slow"})
    offset = feed.clock_offsets.get(version=1)
    assert (offset.offset_us, offset.made_by, offset.reason) == (
        420_000_000,
        "theo",
        "7 minutes slow",
    )
    page.post(url, {"do": "clock", "seconds": "x", "reason": ""})
    assert feed.clock_offsets.count() == 2


class TestAddfeed:
    def test_it_registers_and_says_so_as_json(self, shop, tmp_path, capsys):
        path = tmp_path / "bay.toml"
        path.write_text(FEED.replace('table = "north"', 'table = "bay"\ntorch = "2"'))
        call_command("addfeed", "bay-1", str(path), "--json")
        told = json.loads(capsys.readouterr().out)
        assert (told["name"], told["table"], told["torch"], told["version"], told["changed"]) == (
            "bay-1",
            "bay",
            "2",
            1,
            True,
        )
        assert Torch.objects.get().code == "2"
        call_command("addfeed", "bay-1", str(path), "--json")
        assert json.loads(capsys.readouterr().out)["changed"] is False

    @pytest.mark.parametrize(
        ("text", "line"),
        [
            ("table = \n", 1),
            (FEED.replace('"columns"', '"rows"'), 5),
            (FEED.replace('"north"', '"Table 2"'), 1),
            (FEED + "colour = 1\n", 14),
        ],
    )
    def test_a_wrong_file_is_one_line_and_status_2(self, shop, tmp_path, capsys, text, line):
        path = tmp_path / "bad.toml"
        path.write_text(text)
        with pytest.raises(SystemExit) as stopped:
            call_command("addfeed", "bay", str(path))
        assert stopped.value.code == 2
        told = capsys.readouterr()
        assert told.out == ""
        assert told.err.startswith(f"{path}:{line}: ")
        assert told.err.count("\n") == 1
        assert not Feed.objects.exists()

    def test_a_missing_file_and_a_wrong_name_are_said_the_same_way(self, shop, tmp_path, capsys):
        path = tmp_path / "feed.toml"
        for name in ("bay", "../bay"):
            with pytest.raises(SystemExit):
                call_command("addfeed", name, str(path))
            told = capsys.readouterr().err
            assert told.startswith(f"{path}:1: ")
            assert told.count("\n") == 1
            path.write_text(FEED)
