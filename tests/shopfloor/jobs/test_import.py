"""Job lists through the pages: preview, confirm, again."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from shopfloor.models import Customer, Job, JobLine, Material

FIXTURES = Path(__file__).parents[3] / "fixtures" / "jobs"
HOW = {"encoding": "utf-8", "date_order": "none"}


@pytest.fixture
def page(sign_in, planner, steel):
    Material.objects.create(code="304", name="304", family="stainless", density_kg_m3=8000)
    return sign_in(planner)


def preview(page, name: str, raw: bytes | None = None):
    raw = (FIXTURES / name).read_bytes() if raw is None else raw
    return page.post(reverse("job_import"), {"file": SimpleUploadedFile(name, raw), **HOW})


def confirm(page, shown):
    values = shown.context["confirm"].initial
    return page.post(reverse("job_import_confirm"), values, follow=True)


def test_a_preview_writes_nothing(page):
    shown = preview(page, "jobs.csv")
    assert shown.context["plan"].new_lines == 5
    assert not Job.objects.exists()
    assert not Customer.objects.exists()


def test_what_was_previewed_is_written_and_a_repeat_adds_nothing(page):
    confirm(page, preview(page, "jobs.csv"))
    assert sorted(Job.objects.values_list("number", flat=True)) == ["K-3001", "K-3002", "K-3003"]
    assert JobLine.objects.count() == 5
    assert Job.objects.get(number="K-3001").quote_minor == 245_000
    assert Job.objects.get(number="K-3003").source == "jobs.csv:5"
    again = preview(page, "jobs.csv")
    assert (again.context["plan"].new_lines, again.context["plan"].known_lines) == (0, 5)
    confirm(page, again)
    assert (Job.objects.count(), JobLine.objects.count()) == (3, 5)


def test_each_bad_row_is_named_and_only_good_ones_go_in(page):
    shown = preview(page, "jobs-faults.csv")
    text = shown.content.decode()
    assert [fault.line for fault in shown.context["plan"].faults] == [3, 4, 5, 6]
    for line in (3, 4, 5, 6):
        assert f"jobs-faults.csv:{line}: " in text
    confirm(page, shown)
    assert list(JobLine.objects.values_list("job__number", "part")) == [("K-3201", "rib")]


def test_a_row_that_contradicts_the_shop_is_left_out(page):
    confirm(page, preview(page, "jobs.csv"))
    changed = (FIXTURES / "jobs.csv").read_bytes().replace(b",24,A36", b",25,A36")
    plan = preview(page, "jobs.csv", changed).context["plan"]
    assert [(fault.line, "24 of base plate" in fault.message) for fault in plan.faults] == [
        (2, True)
    ]


def test_another_upload_of_the_same_name_does_not_change_what_is_confirmed(page):
    shown = preview(page, "jobs.csv")
    preview(page, "jobs.csv", (FIXTURES / "jobs-semicolon.csv").read_bytes())
    confirm(page, shown)
    assert Job.objects.filter(number="K-3001").exists()
    assert not Job.objects.filter(number="K-3101").exists()


@pytest.mark.parametrize("digest", ["", "../../secret.key", "0" * 64, "A" * 64])
def test_a_made_up_confirmation_writes_nothing(page, digest):
    answer = page.post(
        reverse("job_import_confirm"), {"digest": digest, "name": "x", **HOW}, follow=True
    )
    assert "Nothing was saved" in answer.content.decode()
    assert not Job.objects.exists()


def test_a_file_of_another_kind_is_refused_by_name_and_line(page):
    text = preview(page, "photo.csv", b"\x89PNG\r\n\x1a\n\x00\x00").content.decode()
    assert "photo.csv:1: " in text


def test_a_file_of_ten_megabytes_is_refused(page):
    shown = preview(page, "big.csv", b"x" * 10 * 1024 * 1024)
    assert "over 5 MB" in shown.content.decode()


def test_html_in_a_list_is_shown_as_text(page):
    raw = (
        b"job,customer,title,part,quantity,material,thickness\n"
        b"<b>1</b>,<script>alert(1)</script>,t,<i>p</i>,1,A36,6 mm\n"
        b"2,c,t,p,1,<script>alert(2)</script>,6 mm\n"
    )
    shown = preview(page, "<script>.csv", raw)
    confirm(page, shown)
    pages = [
        shown,
        page.get(reverse("jobs")),
        page.get(reverse("job", args=[Job.objects.get().pk])),
    ]
    for answer in pages:
        text = answer.content.decode()
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert" in text


def test_the_list_taken_out_begins_no_formula(page):
    raw = b'job,customer,title,part,quantity,material,thickness\n=1+1,@c,"-cmd|calc",p,1,A36,6 mm\n'
    confirm(page, preview(page, "x.csv", raw))
    line = page.get(reverse("jobs_csv")).content.decode().splitlines()[1]
    assert line.startswith("'=1+1,'@c,'-cmd|calc,")
