"""A job list with headings of its own: each is given a meaning, the next list is read at once."""

from __future__ import annotations

import io
import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook

from shopfloor.files.read_list import table_headings
from shopfloor.jobs.headings import suggestions
from shopfloor.models import HeadingMap, Incoming, Job, JobLine
from shopfloor.nests.long_files import incoming_take

HEAD = ["Work Order", "Client", "Descr", "Mark", "Pcs", "Grade", "Thk", "Foreman"]
ROWS = [
    ["W-1", "Oxlode Bridge", "Plates", "P1", "4", "A36", "1/4 in", "Ida"],
    ["W-1", "", "", "P2", "6", "A36", "1/4 in", "Ida"],
]
SAID = ["job", "customer", "title", "part", "quantity", "material", "thickness", ""]
HOW = {"encoding": "utf-8", "date_order": "none"}


def as_csv(head=HEAD, rows=ROWS):
    return "\n".join(";".join(row) for row in [head, *rows]).encode()


def as_xlsx(head=HEAD, rows=ROWS):
    book = Workbook()
    for row in [head, *rows]:
        book.active.append(row)
    raw = io.BytesIO()
    book.save(raw)
    return raw.getvalue()


@pytest.fixture
def page(sign_in, planner, steel):
    return sign_in(planner)


def brought(page, raw, name="orders.csv"):
    return page.post(reverse("job_import"), {"file": SimpleUploadedFile(name, raw), **HOW})


def answered(page, shown, said=SAID, keep="", **more):
    asked = dict(shown.context["of"].initial)
    asked["meaning"] = json.dumps(asked["meaning"])
    values = {f"h{place}": column for place, column in enumerate(said)}
    return page.post(reverse("job_import_headings"), {**asked, **values, "keep": keep, **more})


def confirmed(page, shown):
    values = dict(shown.context["confirm"].initial)
    values["meaning"] = json.dumps(values["meaning"])
    return page.post(reverse("job_import_confirm"), values, follow=True)


@pytest.mark.parametrize(("name", "raw"), [("orders.csv", as_csv()), ("orders.xlsx", as_xlsx())])
def test_each_heading_is_given_a_meaning_and_nothing_is_stored_before_the_preview(page, name, raw):
    shown = brought(page, raw, name)
    body = shown.content.decode()
    assert "Foreman" in body
    assert "P1 · P2" in body
    preview = answered(page, shown)
    assert preview.context["plan"].new_lines == 2
    assert not Job.objects.exists()
    confirmed(page, preview)
    assert list(JobLine.objects.values_list("job__number", "part", "quantity")) == [
        ("W-1", "P1", 4), ("W-1", "P2", 6),
    ]  # fmt: skip
    assert not HeadingMap.objects.exists()  # kept only under a name


def test_the_next_list_with_the_same_headings_is_read_at_once(page):
    answered(page, brought(page, as_csv()), keep="Oxlode orders")
    more = [["W-2", "Oxlode Bridge", "Ribs", "R1", "8", "A36", "1/4 in", "Ida"]]
    preview = brought(page, as_csv([*HEAD[::-1]], [row[::-1] for row in more]))
    assert preview.context["plan"].new_lines == 1
    assert "kept under “Oxlode orders”" in preview.content.decode()
    confirmed(page, preview)
    assert Job.objects.get().number == "W-2"
    # What it means can be changed from the preview.
    asked = dict(preview.context["confirm"].initial)
    asked["meaning"] = json.dumps(asked["meaning"])
    again = page.post(reverse("job_import_headings"), {**asked, "do": "ask"})
    assert 'value="Oxlode orders"' in again.content.decode()


def test_what_is_missing_or_said_twice_is_refused(page):
    shown = brought(page, as_csv())
    body = answered(page, shown, [*SAID[:6], "", ""]).content.decode()
    assert "Choose a heading for thickness: it is needed." in body
    body = answered(page, shown, ["job", *SAID[1:7], "job"]).content.decode()
    assert "job is chosen twice" in body
    for made_up in (
        {"foreman": "boss"},
        {"foreman": ["job"]},
        {"foreman": {}},
        {"\0": "job"},
        ["job"],
        7,
    ):
        body = answered(page, shown, meaning=json.dumps(made_up)).content.decode()
        assert "Foreman" not in body
    assert not Job.objects.exists()


def test_brackets_in_brackets_are_refused(page):
    body = answered(page, brought(page, as_csv()), meaning="[" * 100_000).content.decode()
    assert "Foreman" not in body


def test_two_headings_of_the_same_words_are_refused(page):
    raw = as_csv([*HEAD[:-1], HEAD[0]])
    assert "is there twice" in brought(page, raw).content.decode()


def test_a_list_with_our_headings_is_not_asked_about(page):
    raw = as_csv(["job", "customer", "title", "part", "qty", "material", "thickness"],
                 [row[:7] for row in ROWS])  # fmt: skip
    assert brought(page, raw).context["plan"].new_lines == 2


def test_a_long_list_keeps_its_meaning_in_the_background(page, monkeypatch):
    monkeypatch.setattr("shopfloor.jobs.office.import_list.LONG_LIST_BYTES", 10)
    confirmed(page, answered(page, brought(page, as_csv())))
    found = Incoming.objects.get()
    incoming_take(key=str(found.pk), payload={})
    assert JobLine.objects.count() == 2


def test_headings_are_suggested_once_each():
    found = table_headings(as_csv())
    assert suggestions(found, {}) == ["job", "customer", "", "part", "quantity", "material",
                                      "thickness", ""]  # fmt: skip
    assert suggestions(found, {"descr": "title"})[2] == "title"
