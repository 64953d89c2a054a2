"""One box: whole names open, parts of names list."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils import timezone

from shopfloor.models import Piece
from shopfloor.nests.papers import paper_code, paper_drawn, traveler_said
from shopfloor.search.queries import found


def names(text):
    return {group.head: [row.name for row in group.rows] for group in found(text)}


def test_a_part_of_a_name_lists_everything_that_has_it(job, nest, sheet):
    assert names("2284") == {"Jobs": ["K-2284"], "Nests": ["2284-1"]}
    assert names("PLATE") == {"Jobs": ["K-2284"], "Parts": ["plate"], "Nests": ["2284-1"]}
    assert names("oxlode") == {"Jobs": ["K-2284"]}
    assert names(sheet.heat.number)["Heats"] == [sheet.heat.number]
    assert names("x") == {}


def test_a_whole_name_or_a_scanned_paper_opens_its_page(
    job, nest, sheet, sign_in, operator, planner
):
    page = sign_in(operator)
    paper = paper_drawn(
        kind="traveler", said=traveler_said(job), by=planner, now=timezone.now(), job=job
    )
    for text, url in (
        ("k-2284", reverse("job", args=[job.pk])),
        (paper_code(paper), reverse("job", args=[job.pk])),
        (" 2284-1 ", reverse("nest", args=[nest.pk])),
        (sheet.code, reverse("sheet", args=[sheet.pk])),
        (sheet.heat.number, reverse("heat", args=[sheet.heat_id])),
    ):
        answer = page.get(reverse("find"), {"q": text})
        assert (answer.status_code, answer.headers.get("Location")) == (302, url), text


def test_what_begins_with_it_comes_first_and_the_rest_is_counted(shop, steel):
    """Fourteen jobs hold A-1; twelve are shown, the whole name first, those that begin with it
    next."""
    from shopfloor.jobs.services import job_add

    for number in ["XA-1", "A-1", *(f"A-1{n}" for n in range(12))]:
        job_add(number=number, customer="Oxlode Bridge", title="t", due_at=None)
    (group,) = found("a-1")
    shown = [row.name for row in group.rows]
    assert (shown[0], len(shown), group.more) == ("A-1", 12, 2)
    assert "XA-1" not in shown


def test_nothing_found_is_said_and_the_box_is_ready_to_type(shop, sign_in, operator):
    page = sign_in(operator).get(reverse("find"), {"q": "nowhere"}).content.decode()
    assert "Nothing has that in its name." in page
    assert "autofocus" in page
    assert reverse("find") in sign_in(operator).get(reverse("jobs")).content.decode()


@pytest.mark.django_db
def test_it_costs_a_few_queries_however_much_is_found(
    job, nest, sheet, django_assert_max_num_queries
):
    with django_assert_max_num_queries(8):
        found("2284")


def test_a_piece_is_found_by_its_label_and_a_set_by_its_name(floor, sign_in, operator):
    """The whole label opens the piece's story; a set opens by its code or as it is called."""
    floor.tray(label="E-204")
    piece = Piece.objects.get(label="E-204-electrode")
    page = sign_in(operator)
    for text, url in (
        ("e-204-electrode", reverse("piece", args=[piece.pk])),
        (floor.fast.code, reverse("set", args=[floor.fast.pk])),
        ("Fast 105 A", reverse("set", args=[floor.fast.pk])),
    ):
        answer = page.get(reverse("find"), {"q": text})
        assert (answer.status_code, answer.headers.get("Location")) == (302, url), text
    assert sorted(names("204")["Pieces"]) == ["E-204-electrode", "E-204-nozzle"]
    assert names("105")["Sets"] == [floor.fast.code]
    [pieces] = found("E-204")
    assert pieces.rows[0].words.endswith(", fast 105 A: new")
