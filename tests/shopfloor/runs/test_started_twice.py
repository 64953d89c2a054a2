"""One sheet started on two tablets: one run, both entries kept, and never more parts than the
sheet holds."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from shopfloor.models import Action, PartResult, Run
from shopfloor.people.badges import terminal_register
from shopfloor.runs.part_counts import line_counts
from tests.shopfloor.floor_shop import MINUTE, T0


@pytest.fixture
def second(floor):
    return terminal_register(code="t2", name="the other tablet", table=floor.table)[0]


@pytest.fixture
def sheet_of_four(floor):
    line = floor.line(quantity=10)
    return line, floor.queue(floor.nest(contours=4, lines=[line]), floor.sheet())


def good(line):
    return sum(
        PartResult.objects.filter(line=line, outcome="good").values_list("quantity", flat=True)
    )


@pytest.mark.parametrize("late", [False, True], ids=["while it runs", "when it is done"])
def test_a_second_tablet_opens_no_second_run(floor, second, sheet_of_four, late):
    _, item = sheet_of_four
    first = floor.done("start", T0, queue_item=item.pk)["run"]
    if late:
        floor.done("finish", T0 + 9 * MINUTE, exceptions=[])
    other = floor.do(
        "start", T0 + MINUTE, now=T0 + 20 * MINUTE, terminal=second, queue_item=item.pk
    )
    assert (other.state, other.result["mine"]["run"]) == ("conflict", first)
    assert Run.objects.get().state == ("finished" if late else "open")


def test_both_finish_it_and_the_parts_are_counted_once(floor, second, sheet_of_four):
    """Four parts on the sheet. The second tablet sends its finish without a run, as one does
    that started offline, and after the first has gone on with the next sheet."""
    line, item = sheet_of_four
    floor.done("start", T0, queue_item=item.pk)
    floor.done("finish", T0 + 9 * MINUTE, exceptions=[])
    following = floor.queue(item.nest.revisions.get())
    going = floor.done("start", T0 + 10 * MINUTE, queue_item=following.pk)["run"]
    now = T0 + 20 * MINUTE
    floor.do("start", T0 + MINUTE, now=now, terminal=second, queue_item=item.pk)
    bad = {"contour": 2, "outcome": "scrap", "cause": "crash"}
    late = floor.do("finish", T0 + 11 * MINUTE, now=now, terminal=second, exceptions=[bad])
    assert late.state == "conflict"
    assert late.result["mine"]["parts"][0]["good"] == 3
    assert good(line) == 4
    counts = line_counts([line.pk])[line.pk]
    assert (counts.good_low, counts.good_high) == (3, 4)
    assert Run.objects.get(pk=going).state == "open"


def test_at_another_table_both_are_kept_too(floor, south, sheet_of_four):
    """The other table's tablet knew the sheet from before it was moved: its start and its count
    are kept beside the run, and the range never passes what the sheet holds."""
    line, item = sheet_of_four
    floor.done("start", T0, queue_item=item.pk)
    there = floor.do("start", T0 + MINUTE, table=south.code, queue_item=item.pk)
    count = floor.do("finish", T0 + 8 * MINUTE, table=south.code, exceptions=[])
    assert [there.state, count.state] == ["conflict", "conflict"]
    floor.done("finish", T0 + 9 * MINUTE, exceptions=[])
    counts = line_counts([line.pk])[line.pk]
    assert (counts.good, counts.good_low, counts.good_high) == (4, 4, 4)


def test_the_same_scanned_sheet_of_a_nest_on_no_list(floor, second):
    revision = floor.nest()
    floor.sheet("S-9")
    floor.done("start", T0, revision=revision.pk, sheet="S-9")
    other = floor.do("start", T0 + MINUTE, terminal=second, revision=revision.pk, sheet="S-9")
    assert other.state == "conflict"
    assert Run.objects.count() == 1


def test_a_sheet_set_aside_is_still_carried_on(floor, second, sheet_of_four):
    _, item = sheet_of_four
    first = floor.done("start", T0, queue_item=item.pk)["run"]
    rush = floor.queue(floor.nest("N-2"))
    floor.done("start", T0 + 5 * MINUTE, queue_item=rush.pk, aside_reason="rush")
    again = floor.done("start", T0 + 9 * MINUTE, terminal=second, queue_item=item.pk)
    assert again["run"] == first


def test_parts_counted_before_are_never_counted_again_as_scrap(floor, sheet_of_four):
    line, item = sheet_of_four
    floor.done("start", T0, queue_item=item.pk)
    floor.done("finish", T0 + MINUTE, partial=True, parts=[{"line": line.pk, "good": 4}])
    bad = {"contour": 1, "outcome": "scrap", "cause": "crash"}
    more = floor.do("finish", T0 + 2 * MINUTE, exceptions=[bad])
    assert more.state == "refused"
    assert "the sheet holds 4" in more.result["message"]


def test_the_supervisor_sees_and_settles_it(floor, second, sheet_of_four, client, supervisor):
    _, item = sheet_of_four
    floor.done("start", T0, queue_item=item.pk)
    floor.do("start", T0 + MINUTE, terminal=second, queue_item=item.pk)
    client.force_login(supervisor)
    page = client.get(reverse("late")).content.decode()
    text = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    assert "1 sheet was started twice" in text
    assert 'value="take"' not in page
    action = Action.objects.get(state="conflict")
    url = reverse("late_decide", args=[action.pk])
    refused = client.post(url, {"do": "take", "why": "x"}, follow=True).content.decode()
    assert "start the nest again" in refused
    client.post(url, {"do": "aside", "why": "one sheet"})
    assert not Action.objects.filter(state="conflict").exists()
    assert "one sheet" in client.get(reverse("late")).content.decode()
