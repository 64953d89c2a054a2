"""Every form that changes a record tells who saves second, over all addresses of the office: a new
one has to be put into one of the two lists below."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopfloor import office_urls as office_urls
from shopfloor.models import BackupPlan, ChartRow, JobLine, Nest, Rate, SetPart, Shop, User
from telemetry.models import Feed

pytestmark = pytest.mark.django_db

# URL name -> the form on that page (its hidden `form` or `which`), the field, what the first makes
# of it, what the second wants, and how to read what stands.
EDITS = {
    "job_edit": [("", "title", "Frames, painted", "Frames", lambda a: a["job"].title)],
    "job_line": [("", "quantity", "40", "50", lambda a: JobLine.objects.get().quantity)],
    "job_quote": [("", "quote", "1200", "1300", lambda a: a["job"].quote_minor)],
    "nest_edit": [("", "sheets_wanted", "9", "4", lambda a: Nest.objects.get().sheets_wanted)],
    "table_figures": [
        ("", "load_s", "310", "400", lambda a: a["table"].load_s),
        ("", "comment_marks", "'", "!", lambda a: a["table"].dialect.get("comment_marks")),
        ("", "accel_mm_s2", "1500", "1700", lambda a: a["table"].accel_mm_s2),
    ],
    "set": [("", "price", "12.50", "13.50", lambda a: SetPart.objects.get().price_minor)],
    "backups": [("", "daily", "8", "9", lambda a: BackupPlan.objects.get().daily)],
    "rate_correct": [("", "amount", "1.20", "1.30", lambda a: Rate.objects.get().amount_minor)],
    "sheet_correct": [("", "heat_number", "H-1", "H-2", lambda a: a["sheet"].heat.number)],
    "table_rename": [("", "name", "Northern", "Nord", lambda a: a["table"].name)],
    "sheet": [("", "place", "rack 1", "rack 2", lambda a: a["sheet"].place)],
    "chart_row": [
        ("", "speed_mm_min", "2500", "2600",
         lambda a: ChartRow.objects.order_by("-pk")[0].speed_mm_min),
        ("", "kerf_mm", "1.9", "2.1", lambda a: ChartRow.objects.order_by("-pk")[0].kerf_mm),
    ],
    "shop": [("rules", "run_gap_s", "950", "1200", lambda a: Shop.objects.get().run_gap_s)],
    "person": [
        ("person", "person-last_name", "Brand", "Brandt-Roe",
         lambda a: User.objects.get(username="milo").last_name),
        ("rights", "rights-codes", "see_cost", "see_wage",
         lambda a: [*User.objects.get(username="milo").user_permissions.values_list(
             "codename", flat=True)]),
    ],
    "source_change": [("", "text", "# one\n", "# two\n",
                       lambda a: Feed.objects.get().versions.latest("version").text)],
}  # fmt: skip
# URL name -> why nothing of somebody else's can be lost there.
OTHERS = {
    **dict.fromkeys(
        ("job_add", "job_line_add", "nest_add", "drawing_add", "parts_list", "stock_receive",
         "trial_add", "person_add", "table_add", "source_add", "materials", "source_entered",
         "parts_receive", "part_order", "pieces_add", "piece_look"), "makes a record",
    ),
    "run_complete": "finishes a run; one that is over by then is refused",
    "rates": "adds a rate from a day on; one of the same day is refused",
    "terminals": "makes a screen, or renews the token of one on purpose",
    "part_same": "one field: another answer than stands is a deed of its own",
    "tray_make": "fills a tray up, takes nothing out",
    "nest_parts": "has its own check: test_meanwhile",
    "nest_revise": "has its own check: test_meanwhile",
    "machine_hour": "keeps nothing",
    "drawing_revise": "adds a revision, the ones before stay",
    "trial": "a chart row of the trial's own figures; the row before is kept",
    "heat": "a certificate is kept once and never replaced",
    "queue_put": "adds an entry to a list",
    "preferences": "one's own",
    "password": "one's own, and asks for the old one",
    **dict.fromkeys(
        ("job_import", "job_import_confirm", "job_import_headings", "job_import_undo",
         "chart_import", "chart_import_confirm", "late_decide", "source_count",
         "incoming_stop", "job_act", "nest_act", "queue_act", "drawing_act", "thickness_answer",
         "chart_end", "trial_strike", "remnants_write_off", "sheet_back", "sheet_leave",
         "alarm_seen", "source_try", "source_try_at", "source_token", "source_act", "shift_end",
         "reasons_usual", "reason_retire", "terminal_retire", "security_seen", "work_act",
         "backup_make", "prices_bring", "known_part_act",
         "calendar_change", "calendar_holidays", "calendar_up",
         "calendar_open", "calendar_drop", "calendar_back", "part_order_end", "piece_act",
         "table_pauses"),
        "a deed, judged by how things stand then",
    ),
}  # fmt: skip
READ = {
    "home", "logout", "login", "find", "first_steps", "help_own", "help", "healthz", "intake",
    "jobs", "jobs_csv", "job", "traveler", "late", "incoming", "incoming_how_far", "nests", "nest",
    "setup", "nest_program", "plan", "queue", "checks", "drawings", "drawing", "drawing_file",
    "known_parts", "known_part",
    "chart", "trials", "tables", "sets", "stock", "low_stock", "labels", "plate", "remnants",
    "heats", "calendar", "certificate", "sources", "source", "people", "security", "work",
    "verification", "parts", "purchase", "pieces", "piece", "inspection_photo",
}  # fmt: skip


def test_no_form_is_forgotten():
    names = {pattern.name for pattern in office_urls.urlpatterns}
    kinds = [set(EDITS), set(OTHERS), READ]
    assert names - set().union(*kinds) == set()
    assert sum(len(names & kind) for kind in kinds) == len(names)


@pytest.fixture
def at(job, nest, north, fast, steel, sheet, operator, shop):
    row = ChartRow.objects.create(
        wear_set=fast, material=steel, thickness_mm=12.7, thickness_text="1/2 in",
        speed_mm_min=2400, pierce_delay_s=0.5, valid_from=timezone.now() - timedelta(days=1),
    )  # fmt: skip
    SetPart.objects.create(wear_set=fast, kind="nozzle", name="nozzle", price_minor=1000)
    BackupPlan.objects.create()
    rate = Rate.objects.create(kind="gas", amount_minor=100, valid_from=timezone.localdate())
    return {
        "rate": rate,
        "job": job, "nest": nest, "table": north, "set": fast, "sheet": sheet, "row": row,
        "person": operator,
    }  # fmt: skip


def address(name, at):
    if name == "source_change":
        return reverse(name, args=["north-a"])
    if name in ("shop", "backups"):
        return reverse(name)
    if name == "job_line":
        return reverse(name, args=[at["job"].pk, 1])
    by = {"table_figures": "table", "chart_row": "row", "set": "set", "sheet": "sheet",
          "person": "person", "rate_correct": "rate", "sheet_correct": "sheet",
          "table_rename": "table", "nest_edit": "nest"}  # fmt: skip
    url = reverse(name, args=[at[by.get(name, "job")].pk])
    return f"{url}?kind=nozzle" if name == "set" else url


@pytest.fixture
def two(administrator, owner, at):
    """Two browsers, each of its own person, who may do everything."""
    pages = Client(), Client()
    for page, person in zip(pages, (administrator, owner), strict=True):
        person.is_superuser = True
        person.save()
        page.force_login(person)
    return pages


def sent_from(text, which):
    """The fields of the form on the page as a browser sends them back untouched."""
    forms = re.findall(r"<form[^>]*method=\"post\"[^>]*>(.*?)</form>", text, re.S)
    marks = [f'name="{mark}" value="{which}"' for mark in ("form", "which")]
    form = next(
        one for one in forms
        if (any(mark in one for mark in marks) if which else 'name="shown"' in one
            or 'name="seen"' in one)
    )  # fmt: skip
    found: dict[str, object] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name = re.search(r'\sname="([^"]*)"', tag)
        value = re.search(r'\svalue="([^"]*)"', tag)
        if name is None or 'type="file"' in tag:
            continue
        if 'type="checkbox"' in tag and " checked" not in tag:
            continue
        said = html.unescape(value[1]) if value else "on" if "checkbox" in tag else ""
        if name[1] in found and "checkbox" in tag:
            found[name[1]] = [*found[name[1]], said]
        else:
            found[name[1]] = [said] if name[1].endswith("codes") else said
    for name, inside in re.findall(r'<select name="([^"]*)".*?>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        found[name] = html.unescape(chosen[1]) if chosen else ""
    for name, inside in re.findall(r'<textarea name="([^"]*)".*?>\n?(.*?)</textarea>', form, re.S):
        found[name] = html.unescape(inside).replace("\n", "\r\n")
    if 'name="why"' in form:
        found["why"] = "measured again"
    if "valid_from" in found:
        found |= {"valid_from": "", "note": "measured again"}
    return found


def with_(fields, name, value):
    if name == "text":
        return fields | {name: fields[name] + value.replace("\n", "\r\n"), "do": "save"}
    return fields | {name: value} if value is not None else {
        key: kept for key, kept in fields.items() if key != name
    }  # fmt: skip


def told(reply):
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", reply.content.decode())).split())


CASES = [(name, *case) for name, cases in EDITS.items() for case in cases]


def fresh(at):
    for row in at.values():
        row.refresh_from_db()
    return at


@pytest.mark.parametrize(
    ("name", "which", "field", "first", "second", "stands"), CASES,
    ids=[f"{case[0]}-{case[2]}" for case in CASES],
)  # fmt: skip
def test_who_saves_second_is_told_first(
    name, which, field, first, second, stands, two, at, feed, administrator
):
    url = address(name, at)
    hers, theirs = (sent_from(page.get(url).content.decode(), which) for page in two)
    assert two[0].post(url, with_(hers, field, first)).status_code == 302, "the first is kept"
    after_first = stands(fresh(at))
    if second is None:  # the second leaves that field alone, and changes another
        theirs = theirs | {"load_s": "77"}
    reply = two[1].post(url, with_(theirs, field, second))
    assert reply.status_code == 200
    words = told(reply)
    assert "Nothing of yours is kept yet" in words
    unnamed = name in ("source_change", "chart_row") or which == "rights"  # no row's own column
    who = "Somebody" if unnamed else administrator.shown_name
    assert f"{who} changed this" in words
    assert stands(fresh(at)) == after_first, "the second was not written"
    again = sent_from(reply.content.decode(), which)
    if second is None:
        assert again[field] == "on", "what the second left alone is taken over"
    reply = two[1].post(url, again | ({"do": "save"} if name == "source_change" else {}))
    assert reply.status_code == 302, told(reply)[:600]
    assert (stands(fresh(at)) != after_first) == (second is not None)


def test_an_untouched_field_is_taken_over_and_both_changes_hold(two, at, north):
    url = address("table_figures", at)
    hers, theirs = (sent_from(page.get(url).content.decode(), "") for page in two)
    assert two[0].post(url, hers | {"load_s": "310"}).status_code == 302
    north.refresh_from_db()
    assert north.load_s == 310
    reply = two[1].post(url, theirs | {"unload_s": "200"})
    assert "Loading a sheet, s: it was" in told(reply)
    assert "is now 310" in told(reply)
    assert two[1].post(url, sent_from(reply.content.decode(), "")).status_code == 302
    north.refresh_from_db()
    assert (north.load_s, north.unload_s) == (310, 200)


def test_who_reads_inches_is_not_told_of_a_change_that_is_none(two, at, owner):
    owner.units = "inch"
    owner.save()
    url = address("table_figures", at)
    theirs = sent_from(two[1].get(url).content.decode(), "")
    assert two[1].post(url, theirs | {"load_s": "310"}).status_code == 302


def test_a_part_that_somebody_added_meanwhile_is_not_written_over(two, at, fast):
    """Both type in the shield from the page that shows none."""
    url = reverse("set", args=[fast.pk]) + "?kind=shield"
    hers, theirs = (sent_from(page.get(url).content.decode(), "") for page in two)
    typed = {"name": "shield", "in_drawer": "3", "low_at": "2"}
    assert two[0].post(url, hers | typed | {"price": "20.00"}).status_code == 302
    reply = two[1].post(url, theirs | typed | {"price": "30.00"})
    assert "Price: it was none and is now 20" in told(reply)
    assert SetPart.objects.get(kind="shield").price_minor == 2000
    assert two[1].post(url, sent_from(reply.content.decode(), "")).status_code == 302
    assert SetPart.objects.get(kind="shield").price_minor == 3000


@pytest.mark.parametrize(
    "junk", ["", "[", "7", "[1]", '{"place": 3, "": "x"}', '{"": true}', "[" * 100_000, '{"a": {}}']
)
def test_what_a_page_is_said_to_have_shown_may_be_anything(two, at, sheet, junk):
    url = address("sheet", at)
    sent = {"place": "rack 9", "note": "", "shown": junk}
    assert two[0].post(url, sent).status_code in (200, 302)
