"""Two people at one record: who saves second is told what the first changed, and loses nothing."""

from __future__ import annotations

import html
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from shopfloor.audit.row_versions import changed_since, version_of
from shopfloor.models import Nest, NestPlan
from tests.shopfloor.conftest import PROGRAM

pytestmark = pytest.mark.django_db


@pytest.fixture
def two(planner, owner):
    """Two browsers, each of its own person."""
    pages = Client(), Client()
    for page, person in zip(pages, (planner, owner), strict=True):
        page.force_login(person)
    return pages


def opened(page: Client, url: str) -> dict[str, str]:
    """Every field of the page's form as the browser would send it back untouched."""
    text = page.get(url).content.decode().partition("<main")[2]
    return _fields(text)


def _fields(text: str) -> dict[str, str]:
    found = {}
    for tag in re.findall(r"<input[^>]*>", text):
        name, value = re.search(r'\sname="([^"]*)"', tag), re.search(r'\svalue="([^"]*)"', tag)
        if name:
            found[name[1]] = html.unescape(value[1]) if value else ""
    for name, inside in re.findall(r'<select name="([^"]*)".*?>(.*?)</select>', text, re.S):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        found[name] = chosen[1] if chosen else ""
    return found


def told(reply) -> str:
    return html.unescape(re.sub(r"<[^>]*>", " ", reply.content.decode()))


def test_the_second_to_save_a_nest_is_told_and_shown_what_the_first_changed(two, nest, planner):
    url = reverse("nest_edit", args=[nest.pk])
    first, second = two
    hers, theirs = opened(first, url), opened(second, url)
    assert first.post(url, hers | {"sheets_wanted": "9"}).status_code == 302
    reply = second.post(url, theirs | {"sheets_wanted": "4"})
    assert reply.status_code == 200
    assert f"{planner.shown_name} changed this" in told(reply)
    assert "Sheets: it was 1 and is now 9; yours is still below" in told(reply)
    nest.refresh_from_db()
    assert nest.sheets_wanted == 9
    again = _fields(reply.content.decode().partition("<main")[2])
    assert again["sheets_wanted"] == "4"
    assert second.post(url, again).status_code == 302
    nest.refresh_from_db()
    assert nest.sheets_wanted == 4


def test_what_only_the_first_changed_is_taken_over(two, nest, north, south):
    """One moves the nest to South, the other wants more sheets: sent again, both hold."""
    url = reverse("nest_edit", args=[nest.pk])
    first, second = two
    hers, theirs = opened(first, url), opened(second, url)
    first.post(url, hers | {"table": str(south.pk)})
    reply = second.post(url, theirs | {"sheets_wanted": "4"})
    assert "Table: it was North and is now South, as below." in told(reply)
    second.post(url, _fields(reply.content.decode().partition("<main")[2]))
    nest.refresh_from_db()
    assert (nest.table, nest.sheets_wanted) == (south, 4)


def test_who_wants_the_same_is_not_stopped(two, nest):
    url = reverse("nest_edit", args=[nest.pk])
    first, second = two
    hers, theirs = opened(first, url), opened(second, url)
    first.post(url, hers | {"sheets_wanted": "9"})
    assert second.post(url, theirs | {"sheets_wanted": "9"}).status_code == 302


def test_a_change_that_was_taken_back_is_none(nest):
    seen = version_of(Nest, nest.pk)
    for wanted in (9, 1):
        Nest.objects.filter(pk=nest.pk).update(sheets_wanted=wanted)
    assert changed_since(nest, seen) is None
    assert version_of(Nest, nest.pk) > seen


def test_parts_tied_otherwise_meanwhile_are_said_and_not_undone(two, nest, job):
    url = reverse("nest_parts", args=[nest.pk])
    line = str(job.lines.get().pk)
    first, second = two
    hers, theirs = opened(first, url), opened(second, url)
    names = sorted(name for name in theirs if name.startswith("line_"))
    assert first.post(url, hers | {names[0]: line}).status_code == 302
    reply = second.post(url, theirs | {names[1]: line})
    assert reply.status_code == 200
    assert "Somebody else tied these" in told(reply)
    assert "it was no job and is now K-2284 / 1" in told(reply)
    again = _fields(reply.content.decode().partition("<main")[2])
    assert (again[names[0]], again[names[1]]) == (line, line)
    assert second.post(url, again).status_code == 302
    outer = nest.revisions.get().contours.filter(inner=False)
    assert {str(one.line_id) for one in outer} == {line}


@pytest.mark.parametrize("seen", ["", "[", "7", "[1]", '{"a": [', "[" * 100_000, '{"line_1": {}}'])
def test_what_a_page_is_said_to_have_shown_may_be_anything(two, nest, job, seen):
    """Somebody's own making of the field: it says nothing, and the parts are tied."""
    url = reverse("nest_parts", args=[nest.pk])
    sent = opened(two[0], url)
    line = str(job.lines.get().pk)
    given = {name: line for name in sent if name.startswith("line_")}
    assert two[0].post(url, sent | given | {"seen": seen}).status_code in (200, 302)


def test_parts_of_a_revision_that_is_not_the_newest_any_more_are_not_tied(two, nest, job):
    url = reverse("nest_parts", args=[nest.pk])
    first, second = two
    theirs = opened(second, url)
    _read(first, nest, PROGRAM.replace(b"100", b"110"))
    line = str(job.lines.get().pk)
    given = {name: line for name in theirs if name.startswith("line_")}
    reply = second.post(url, theirs | given, follow=True)
    assert "Revision 2 was read in after you opened this page, so nothing was tied" in told(reply)


def _read(page: Client, nest: Nest, raw: bytes, **more):
    file = SimpleUploadedFile("plates.nc", raw)
    return page.post(reverse("nest_revise", args=[nest.pk]), {"file": file, **more})


def test_a_program_read_in_meanwhile_is_said_before_another_follows_it(two, nest, planner):
    first, second = two
    theirs = opened(second, reverse("nest_revise", args=[nest.pk]))
    _read(first, nest, PROGRAM.replace(b"100", b"110"))
    raw = PROGRAM.replace(b"100", b"120")
    reply = _read(second, nest, raw, seen=theirs["seen"])
    assert f"{planner.shown_name} read plates.nc in as revision 2" in told(reply)
    assert nest.revisions.count() == 2
    again = _fields(reply.content.decode().partition("<main")[2])
    assert _read(second, nest, raw, seen=again["seen"]).status_code == 302
    assert nest.revisions.count() == 3


def test_a_route_is_not_taken_over_somebody_s_newer_one(two, nest, plan, south):
    NestPlan.objects.filter(pk=plan.pk).update(problem="")
    first, second = two
    seen = version_of(Nest, nest.pk)
    edit = reverse("nest_edit", args=[nest.pk])
    first.post(edit, opened(first, edit) | {"table": str(south.pk)})
    reply = second.post(
        reverse("nest_act", args=[nest.pk]),
        {"do": "route", "wear_set": nest.wear_set_id, "table": nest.table_id, "seen": seen},
        follow=True,
    )
    assert "changed this nest" in told(reply)
    nest.refresh_from_db()
    assert nest.table == south


def test_a_job_and_its_line_say_so_too(two, job):
    first, second = two
    for url, name, mine, theirs_ in (
        (reverse("job_edit", args=[job.pk]), "title", "Frames, painted", "Frames"),
        (reverse("job_line", args=[job.pk, 1]), "quantity", "40", "50"),
    ):
        hers, theirs = opened(first, url), opened(second, url)
        assert first.post(url, hers | {name: mine}).status_code == 302
        reply = second.post(url, theirs | {name: theirs_})
        assert f"is now {mine}; yours is still below" in told(reply), name
        again = _fields(reply.content.decode().partition("<main")[2])
        assert second.post(url, again).status_code == 302
