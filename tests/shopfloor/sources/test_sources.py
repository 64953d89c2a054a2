"""Signal sources at the desk and by `addfeed`."""

from __future__ import annotations

import json
import re
import time
from datetime import UTC

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from planning.reports.notes.at_desk import of_alarms
from planning.reports.notes.reading import of_found
from shopfloor.models import Table, Torch
from shopfloor.runs.arcs import to_us
from telemetry.locks import Lock
from telemetry.models import Feed, Health, Reject
from telemetry.paths import lock_path
from tests.shopfloor.conftest import FEED

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
    assert table.name == "Bay"
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


def test_no_table_is_made_behind_a_page_of_the_floor(page, shop):
    from shopfloor.site.models import FLOOR_PAGES
    from shopfloor.terminal.urls import urlpatterns

    routes = {str(each.pattern) for each in urlpatterns}
    fixed = {
        route.removesuffix("/") for route in routes if route.endswith("/") and "<" not in route
    }
    assert fixed == FLOOR_PAGES
    for code in sorted(FLOOR_PAGES):
        text = FEED.replace("north", code, 1)
        values = {"name": "new", "text": f"# new\n{text}", "do": "save"}
        answer = page.post(reverse("source_add"), values).content.decode()
        assert f":2: table: &#x27;{code}&#x27; is a page of the floor" in answer
    assert not Feed.objects.exists()
    assert not Table.objects.filter(code__in=FLOOR_PAGES).exists()


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


@pytest.mark.parametrize("who", ["operator", "supervisor", "planner", "owner"])
def test_the_text_of_refused_lines_is_for_those_who_manage_sources(request, sign_in, feed, who):
    Reject.objects.create(
        feed=feed, key="k", position=3, reason="bad value", message="'SECRET' is not a number",
        raw=b"1,SECRET", received_us=1_790_000_000_000_000, feed_version=1,
    )  # fmt: skip
    client = sign_in(request.getfixturevalue(who))
    url = reverse("source", args=[feed.name])
    for address in (url, f"{url}?rejects=all", reverse("sources"), "/healthz"):
        assert "SECRET" not in client.get(address, follow=True).content.decode()
    assert "bad value: 1" in client.get(url).content.decode()


@pytest.mark.parametrize(("who", "told"), [("operator", False), ("administrator", True)])
def test_why_a_source_cannot_be_read_is_for_those_who_manage_sources(
    request, sign_in, feed, who, told
):
    """The reason names a path and the folders of a setting."""
    now = time.time_ns() // 1000
    why = "/etc/passwd is not below a folder of KERFBOOK_SOURCE_DIRS (/srv/lines)"
    Feed.objects.update(created_us=now - 3_600_000_000)
    Health.objects.create(feed=feed, link="failed", message=why, since_us=now, beat_us=now)
    client = sign_in(request.getfixturevalue(who))
    held = Lock(lock_path(feed.name, "live"), feed.name)  # as if its intake ran
    try:
        for url in (reverse("sources"), reverse("source", args=[feed.name])):
            text = client.get(url).content.decode()
            assert "it cannot be read" in text.lower()
            assert ("/srv/lines" in text) is told
        now = timezone.now()
        bodies = [note.body for note in of_found(of_alarms(to_us(now)), [], now, UTC)]
    finally:
        held.release()
    assert f"{feed.name}: it cannot be read." in bodies
    assert "/srv/lines" not in " ".join(bodies)


def test_a_source_outside_the_folders_is_refused_with_the_name_of_the_setting(page, shop, settings):
    key = settings.DATA_DIR / "secret.key"
    key.write_text("the-key-of-the-shop")
    for source, setting in (
        (f'kind = "csv_file"\npath = "{key}"', "KERFBOOK_SOURCE_DIRS"),
        ('kind = "csv_folder"\npath = "/etc"', "KERFBOOK_SOURCE_DIRS"),
        (f'kind = "serial"\nport = "spy:///dev/null?file={key}"', "KERFBOOK_PORT_SCHEMES"),
    ):
        text = FEED.replace('kind = "push"', source)
        assert text != FEED
        answer = page.post(reverse("source_add"), {"name": "bay", "text": text, "do": "save"})
        errors = answer.context["form"].errors["text"]
        assert len(errors) == 1
        assert setting in errors[0]
    assert not Feed.objects.exists()
    assert key.read_text() == "the-key-of-the-shop"


def test_the_form_says_what_may_be_read_and_begins_with_a_path_that_may(page, shop, settings):
    settings.SOURCE_DIRS = (settings.DATA_DIR.parent / "lines",)
    shown = page.get(reverse("source_add")).content.decode()
    assert f"(KERFBOOK_SOURCE_DIRS):\n<code>{settings.SOURCE_DIRS[0]}</code>" in shown
    assert f"{settings.SOURCE_DIRS[0]}/north/lines.csv" in shown


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
            (FEED.replace('kind = "push"', 'kind = "csv_file"\npath = "/etc/passwd"'), 4),
            (FEED.replace('kind = "push"', 'kind = "serial"\nport = "spy:///dev/null"'), 4),
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


class TestTrying:
    def attempt(self, page, name="", **values):
        url = reverse("source_try_at", args=[name]) if name else reverse("source_try")
        return page.post(url, {"text": FEED, **values})

    def test_lines_pasted_are_decoded_as_a_piece_of_page(self, page, shop):
        answer = self.attempt(page, pasted=LINES.decode())
        shown = answer.content.decode()
        assert "<html" not in shown
        assert "1 of 3 lines could not be read; the others hold 1 arc." in shown
        assert "unknown signal 1" in shown
        assert shown.count("<rect") == 1
        assert not Feed.objects.exists()

    def test_a_description_that_is_wrong_says_where(self, page, shop):
        answer = self.attempt(page, text=FEED.replace('"columns"', '"rows"'), pasted="x")
        assert "description:5: format: unknown value" in answer.content.decode()

    @pytest.mark.parametrize(
        ("pasted", "said"),
        [
            ("", "It was tried on no lines."),
            ("\n\n", "There is no whole line in the sample."),
            ("x\ny\n", "It does not work: none of the 2 lines could be read."),
            ("1,2026-10-08T08:00:00,ARC OFF,\n", "Every line (1) can be read, but no arc"),
            (LINES.decode().rsplit("\n", 2)[0] + "\n", "It works: 2 lines, all read, 1 arc."),
        ],
    )
    def test_it_says_plainly_whether_it_works(self, page, shop, pasted, said):
        assert said in self.attempt(page, pasted=pasted).content.decode()

    def test_a_description_that_reads_no_line_of_its_sample_is_not_kept(self, page, shop):
        values = {"name": "bay", "text": FEED, "pasted": "x\ny\n", "do": "save"}
        answer = page.post(reverse("source_add"), values)
        assert "none of the 2 lines could be read" in answer.content.decode()
        assert not Feed.objects.exists()
        page.post(reverse("source_add"), {**values, "pasted": LINES.decode()})
        assert Feed.objects.get().name == "bay"

    def test_what_a_bare_contact_cannot_know_is_said_before_it_is_kept(self, page, shop):
        level = FEED.split("[line]")[0] + (
            '[line]\nformat = "level"\ncolumns = ["time", "level"]\n[time]\nzone = "UTC"\n'
            '[knows]\ncontact = "transfer"\n'
        )
        shown = self.attempt(page, text=level, pasted="2026-10-08T08:00:00,1\n").content.decode()
        assert "misfires: can’t know" in shown
        assert "shown together as arc time" in shown

    def test_a_status_line_shows_its_arcs_with_their_pierces_and_amps(self, page, shop):
        level = FEED.split("[line]")[0] + (
            '[line]\nformat = "level"\ncolumns = ["time", "level", "pierces", "amps"]\n'
            '[time]\nzone = "UTC"\n'
        )
        lines = ["00,0,56,0", "01,1,57,101.5", "02,1,59,102.5", "03,0,60,3"]
        pasted = "".join(f"2026-11-30 14:00:{line}\n" for line in lines)
        shown = self.attempt(page, text=level, pasted=pasted).content.decode()
        assert "It works: 4 lines, all read, 1 arc." in shown
        row = shown.partition("<tbody>")[2].partition("</tbody>")[0]
        values = re.findall(r'class="num">\s*(?:<data[^>]*>)?([\d.]+)', row)
        assert values == ["2.00", "4", "102.0"]
        assert "<rect" in shown
        assert "current: measured" in shown
        wrong = self.attempt(page, text=level.replace('"amps"', '"ampere"'), pasted=pasted)
        assert "columns: unknown column &#x27;ampere&#x27;" in wrong.content.decode()

    def test_a_sample_of_arrival_times_shows_no_lengths(self, page, shop):
        level = FEED.split("[line]")[0] + '[line]\nformat = "level"\n'
        shown = self.attempt(page, text=level, pasted="1\n1\n0\n").content.decode()
        assert "Its times are those of arrival" in shown
        assert "<rect" not in shown


class TestReadingAgain:
    @pytest.fixture
    def refused(self, feed, tmp_path):
        """Two lines with a word that is not listed, one that is cut."""
        from telemetry.worker.backfill import backfill

        path = tmp_path / "lines.csv"
        path.write_text(
            "1,2026-10-08T08:00:00,BURN,\n2,2026-10-08T08:00:30,ARC OFF,\n"
            "3,2026-10-08T08:01:00,BURN,\n4,2026-10-08T08:0\n"
        )
        backfill(feed, path, lambda done, of: None)
        return feed

    def test_the_change_page_counts_what_it_would_read(self, page, refused):
        url = reverse("source_try_at", args=[refused.name])
        mended = FEED.replace('["ARC ON"]', '["ARC ON", "BURN"]')
        assert "it would read 0" in page.post(url, {"text": FEED}).content.decode()
        assert "Of the 3 lines refused so far it would read 2." in (
            page.post(url, {"text": mended}).content.decode()
        )

    def test_one_press_reads_them_again_and_says_how_many(self, page, refused):
        from telemetry.models import Arc
        from telemetry.worker import run_once

        act = reverse("source_act", args=[refused.name])
        said = page.post(act, {"do": "reread"}, follow=True).content.decode()
        assert "None of the 3 lines can be read by its description" in said
        assert Feed.objects.get().version == 1
        # As if a newer program read what an older one refused.
        text = refused.versions.get()
        text.text = FEED.replace('["ARC ON"]', '["ARC ON", "BURN"]')
        text.save()
        said = page.post(act, {"do": "reread"}, follow=True).content.decode()
        assert "2 of 3 lines can be read now" in said
        run_once([Feed.objects.get()])
        assert Reject.objects.filter(mended_version=None).count() == 1
        assert [arc.ended for arc in Arc.objects.order_by("on_us")] == ["off", "open"]


def test_what_waits_on_disk_is_shown(page, feed):
    from telemetry.feeds.push.receipt import Delivery, push_take
    from telemetry.journal import Kind, Record
    from telemetry.services import push_token_find, push_token_issue
    from telemetry.worker import run_once

    token = push_token_find(feed_name=feed.name, token=push_token_issue(feed=feed))
    body = Record(Kind.DATA, 1, 5, 5, {"source": "live", "at": 0}, LINES).pack()
    push_take(token=token, body=body, delivery=Delivery("c" * 32, waiting=7))
    (row,) = page.get(reverse("sources")).context["sources"]
    assert row.backlog_bytes == len(body)
    assert (
        "7 records waited there" in page.get(reverse("source", args=["north-a"])).content.decode()
    )
    run_once([feed])
    (row,) = page.get(reverse("sources")).context["sources"]
    assert (row.backlog_bytes, row.lines, row.rejects) == (0, 3, 1)
