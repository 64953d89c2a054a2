"""Marks nobody sees are taken out where names are taken in, and names stand alone on paper."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from shopfloor.audit.actor import acting, current_why
from shopfloor.jobs.services import job_add
from shopfloor.models import Change, Customer, Job, JobLine, Material, User
from shopfloor.wording.visible import visible

OVERRIDE, ISOLATE, POP, ZERO, BOM, LINE = "\u202e", "\u2067", "\u2069", "\u200b", "\ufeff", "\u2028"


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("K-2284", "K-2284"),
        (f"gate{OVERRIDE}4822-K", "gate4822-K"),
        (f"{ISOLATE}gate{POP}", "gate"),
        (f"ga{ZERO}te{BOM}\u00ad\u2060", "gate"),
        (f"one{LINE}two\u2029three\x85four\x1b[2Jfive", "one two three four [2Jfive"),
        ("\u200eLRM \u200fRLM \u061cALM", "LRM RLM ALM"),
        ("tag\U000e0041\U000e007f", "tag"),
        ("blank\u3164\u2800", "blank"),
        ("שער ברזל", "שער ברזל"),
        ("بوابة حديد", "بوابة حديد"),
        ("می‌خواهم", "می‌خواهم"),  # Persian, with its zero width joiner's opposite
        ("क्‍ष", "क्‍ष"),  # Devanagari, a joiner behind a virama
        ("pl\u200cate\u200d", "plate"),
        ("Größe ø 20 µm ½″", "Größe ø 20 µm ½″"),
        ("two\nlines\tand a tab\r\n", "two\nlines\tand a tab\r\n"),
        ("٣ mm", "٣ mm"),
        ("", ""),
    ],
)
def test_what_is_not_seen_goes_and_what_is_seen_stays(typed, kept):
    assert visible(typed) == kept
    assert visible(kept) == kept


def test_no_mark_of_unicode_s_own_list_of_directions_is_left():
    """The nine explicit ones of UAX 9, table 1 and 2."""
    for mark in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069":
        assert visible(f"a{mark}b") == "ab"


def test_a_reason_on_the_trail_is_one_line_of_200_letters():
    with acting("user:ann", why=f"a\nb{OVERRIDE}\x00 c" + "x" * 300):
        assert current_why() == "a b c" + "x" * 195


@pytest.mark.django_db
class TestTakenIn:
    def test_a_form(self, client, shop, planner):
        client.force_login(planner)
        sent = {
            "number": f"K-{OVERRIDE}9",
            "customer": f"Hollin{ZERO} Gate",
            "title": f"x{LINE}y",
            "weight": 1,
        }
        assert client.post(reverse("job_add"), sent).status_code == 302
        job = Job.objects.get()
        assert (job.number, job.customer.name, job.title) == ("K-9", "Hollin Gate", "x y")

    def test_two_names_that_look_alike_are_one(self, client, shop, planner):
        client.force_login(planner)
        for number, customer in (("K-1", "Hollin Gate"), ("K-2", f"Hollin {ZERO}Gate")):
            client.post(
                reverse("job_add"),
                {"number": number, "customer": customer, "title": "x", "weight": 1},
            )
        assert Customer.objects.count() == 1

    def test_hebrew_and_arabic_names(self, client, shop, planner):
        client.force_login(planner)
        client.post(
            reverse("job_add"),
            {"number": "K-1", "customer": "שער ברזל", "title": "بوابة", "weight": 1},
        )
        assert (Job.objects.get().customer.name, Job.objects.get().title) == ("שער ברזל", "بوابة")

    def test_a_password_stays_as_it_was_typed(self, client, shop, administrator):
        client.force_login(administrator)
        secret = f"burn {ZERO}clean plate"
        sent = {
            "username": f"p{ZERO}at", "first_name": "Pat", "last_name": "Roe", "role": "planner",
            "password": secret,
        }  # fmt: skip
        assert client.post(reverse("person_add"), sent).status_code == 302
        assert User.objects.get(username="pat").check_password(secret)

    def test_a_list_of_jobs(self, client, shop, planner):
        from shopfloor.files.read_list import read_table

        raw = f"job,part\nK-{OVERRIDE}1,{ZERO} rib {BOM}\n".encode()
        (row,) = read_table(raw, columns=("job", "part"), needed=("job",))
        assert (row.text("job"), row.text("part")) == ("K-1", "rib")

    def test_the_name_of_a_file(self, client, shop, planner):
        client.force_login(planner)
        upload = SimpleUploadedFile(f"plates{OVERRIDE}cn.nc", b"job,part\n")
        page = client.post(reverse("job_import"), {"file": upload}).content.decode()
        assert OVERRIDE not in page

    def test_an_entry_from_the_floor(self):
        from shopfloor.actions.envelope import envelope_parts

        id_ = "6f2b1d0e-0000-4000-8000-000000000001"
        payload = {"note": f"a{OVERRIDE}b", "parts": [{"cause": f"slag{ZERO}"}], "n": 1}
        _, _, kept = envelope_parts({"id": id_, "kind": "stop", "payload": payload})
        assert kept == {"note": "ab", "parts": [{"cause": "slag"}], "n": 1}

    def test_the_program_a_table_names(self, north):
        from shopfloor.runs.matching import ArcInput
        from shopfloor.runs.program_names import programs_of
        from telemetry.models import Arc, Feed

        feed = Feed.objects.create(name="n", table="north", kind="serial", created_us=0)
        Arc.objects.create(key="k", feed=feed, table="north", torch="1", on_us=1, off_us=2,
                           ended="off", feed_version=1, changed_us=1,
                           program=f"A-1{OVERRIDE}cn")  # fmt: skip
        seen = ArcInput(key="k", table="north", torch="1", on_us=1, off_us=2)
        assert programs_of(north, [seen]) == {"k": "A-1cn"}


@pytest.mark.django_db
def test_no_client_says_why_something_was_changed(client, shop, planner):
    client.force_login(planner)
    client.post(
        reverse("job_add"),
        {"number": "K-1", "customer": "Hollin Gate", "title": "x", "weight": 1},
        headers={"X-Reason": "the owner told me so"},
    )
    assert Change.objects.filter(who="user:ines").exists()
    assert not Change.objects.exclude(why="").filter(who="user:ines").exists()


@pytest.mark.django_db
def test_a_name_that_was_kept_before_turns_no_traveler_around(client, shop, planner):
    """Written past the forms; on paper it is stripped, and each name stands alone."""
    job = job_add(number="K-1", customer="Hollin Gate", title="x", due_at=None)
    steel = Material.objects.create(code="carbon", name="carbon", density_kg_m3=7850)
    JobLine.objects.create(job=job, number=1, part=f"rib{OVERRIDE}021", quantity=12,
                           material=steel, thickness_mm=6, thickness_text="6 mm")  # fmt: skip
    Job.objects.update(title=f"gate{OVERRIDE}4822")
    Customer.objects.update(name="שער ברזל")
    client.force_login(planner)
    page = client.get(reverse("traveler", args=[job.pk])).content.decode()
    main = page.partition("<main")[2] or page.partition("<body")[2]
    assert OVERRIDE not in main
    for name in ("gate4822", "rib021", "שער ברזל"):
        assert re.search(f"<bdi>{re.escape(name)}</bdi>", main), name
