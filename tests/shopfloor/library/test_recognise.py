"""Parts found again as nests and drawings are read."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from planning.calc.drawing import Reading
from shopfloor.drawings.services import drawing_add, drawing_revise
from shopfloor.library import recognise
from shopfloor.library.queries import likenesses, part_lines, revisions_of
from shopfloor.library.recognise import parts_missing, parts_recognise
from shopfloor.library.services import likeness_answer
from shopfloor.models import ChartRow, KnownPart, LikePart, PartPlace, Work
from shopfloor.nests.part_lines import assign_parts_to_lines, revision_groups
from shopfloor.nests.queries import revision_contours
from shopfloor.nests.reread import nests_read_before
from shopfloor.nests.services import nest_add, revision_add
from tests.planning.calc.drawing.made import dxf, square


def path(*points, turn=0.0, dx=0.0, dy=0.0):
    cos, sin = math.cos(turn), math.sin(turn)
    moved = [(x * cos - y * sin + dx, x * sin + y * cos + dy) for x, y in points]
    words = [f"X{x:.3f} Y{y:.3f}" for x, y in moved]
    return "\n".join(["G0 " + words[0], "M3", "G1", *words[1:], "M5", ""])


def angle(hole=20.0, **moved):
    """120 x 90 with a step, and a square hole."""
    low = 15.0
    high = low + hole
    return path((low, low), (high, low), (high, high), (low, high), (low, low), **moved) + path(
        (0, 0), (120, 0), (120, 40), (50, 40), (50, 90), (0, 90), (0, 0), **moved
    )


@pytest.fixture
def read(floor):
    def make(name, text, thickness_text="6 mm"):
        nest = nest_add(
            name=name, file_name=f"{name}.nc", raw=text.encode(), material=floor.steel,
            thickness_text=thickness_text, wear_set=floor.fast, table=floor.table,
            by=floor.person,
        )  # fmt: skip
        revision = nest.revisions.get()
        parts_recognise(key=f"nest:{revision.pk}", payload={})
        return revision

    return make


@pytest.fixture
def drawn(floor):
    def make(name, draw, of=None):
        told = {"raw": dxf(draw), "reading": Reading(), "by": floor.person}
        if of is None:
            of = drawing_add(
                name=name, file_name="a.dxf", material=floor.steel, thickness_text="6 mm", **told
            )
        else:
            drawing_revise(drawing=of, file_name="b.dxf", **told)
        revision = of.revisions.order_by("-revision")[0]
        parts_recognise(key=f"drawing:{revision.pk}", payload={})
        return of

    return make


def test_the_same_shape_in_another_nest_is_the_same_part(read):
    first = read("one", angle() + angle(turn=1.0, dx=300))
    second = read("two", angle(turn=2.2, dx=500, dy=80))
    [part] = KnownPart.objects.all()
    assert part.name == "one, shape 2"
    places = {place.revision_id: place for place in part.places.all()}
    assert (places[first.pk].copies, places[second.pk].copies) == (2, 1)
    assert places[first.pk].of_nest == pytest.approx(1.0)


def test_reading_again_changes_nothing(read):
    revision = read("one", angle() + path((0, 200), (50, 200), (50, 250), (0, 250), (0, 200)))
    before = set(KnownPart.objects.values_list("pk", flat=True))
    parts_recognise(key=f"nest:{revision.pk}", payload={})
    assert set(KnownPart.objects.values_list("pk", flat=True)) == before
    assert PartPlace.objects.count() == 2


def test_a_larger_hole_is_another_part_offered_as_a_revision(read, floor):
    read("one", angle())
    read("two", angle(hole=20.5, turn=0.7))
    old, new = KnownPart.objects.order_by("pk")
    [like] = LikePart.objects.all()
    assert (like.part, like.older, like.answer) == (new, old, "")
    [near] = likenesses(old)
    assert near.other == new
    likeness_answer(like=like, answer="revision", by=floor.person)
    new.refresh_from_db()
    assert revisions_of(old) == revisions_of(new) == [old, new]
    likeness_answer(like=like, answer="", by=floor.person)
    new.refresh_from_db()
    assert new.follows is None


def test_a_part_in_another_thickness_is_another(read, floor):
    read("one", angle())
    read("two", angle(), thickness_text="12 mm")
    assert KnownPart.objects.count() == 2


def test_what_a_job_line_calls_it_is_its_name(read, floor):
    revision = read("one", angle() + angle(dx=300))
    line = floor.line(quantity=1)
    [group] = revision_groups(revision_contours(revision))
    assign_parts_to_lines(revision=revision, ties={group.label: [(line, 1), (None, None)]})
    parts_recognise(key=f"nest:{revision.pk}", payload={})
    [part] = KnownPart.objects.all()
    assert part.name == line.part
    assert list(part_lines(part)) == [line]
    # By hand: both copies have one length, so each is all of its line's and half of the nest's.
    assert sorted((p.copies, p.share, round(p.of_nest, 6)) for p in part.places.all()) == [
        (1, 1.0, 0.5), (1, 1.0, 0.5)
    ]  # fmt: skip


def test_a_program_is_known_by_its_drawing_through_the_kerf(read, drawn, floor):
    def plate(space):
        square(space)
        square(space, 30, 30, 40)

    drawn("base", plate)
    edges = [(-0.7, 100.7), (30.7, 69.3)]
    text = "".join(
        path((a, a), (b, a), (b, b), (a, b), (a, a), turn=0.3) for a, b in reversed(edges)
    )
    read("one", text)
    [part] = KnownPart.objects.all()
    assert (part.name, part.from_drawing) == ("base", True)
    offset = part.places.get(revision__isnull=False).offset_mm
    assert offset == pytest.approx(0.7, abs=0.01)


def test_a_drawings_page_leads_to_the_part_it_is_known_as(drawn, sign_in, planner):
    made = drawn("base", square)
    [part] = KnownPart.objects.all()
    page = sign_in(planner).get(reverse("drawing", args=[made.pk])).content.decode()
    assert f'href="{reverse("known_part", args=[part.pk])}"' in page


@pytest.mark.parametrize("kerf_mm", [None, 1.4])
def test_a_plate_without_holes_takes_the_charts_kerf_to_know(read, drawn, floor, kerf_mm):
    drawn("plain", square)
    side = path((-0.7, -0.7), (100.7, -0.7), (100.7, 100.7), (-0.7, 100.7), (-0.7, -0.7))
    ChartRow.objects.create(
        wear_set=floor.fast, material=floor.steel, thickness_mm=6, thickness_text="6 mm",
        speed_mm_min=3000, pierce_delay_s=0.3, kerf_mm=kerf_mm, valid_from=timezone.now(),
    )  # fmt: skip
    read("one", side)
    assert KnownPart.objects.count() == (1 if kerf_mm else 2)


def test_the_next_revision_of_a_drawing_follows_the_last(drawn):
    made = drawn("base", lambda space: (square(space), square(space, 30, 30, 40)))
    drawn("base", lambda space: (square(space), square(space, 30, 30, 42)), of=made)
    old, new = KnownPart.objects.order_by("pk")
    assert new.follows == old


def test_a_shape_found_nowhere_any_more_is_forgotten(read, floor):
    revision = read("one", angle())
    revision.contours.update(net_area_mm2=None)
    parts_recognise(key=f"nest:{revision.pk}", payload={})
    assert not KnownPart.objects.exists()


def test_a_new_revision_of_a_nest_asks_for_its_parts(read, floor):
    nest = read("one", angle()).nest
    revision_add(nest=nest, file_name="b.nc", raw=angle(hole=30).encode(), by=floor.person)
    newest = nest.revisions.get(revision=2)
    assert Work.objects.filter(kind="parts", key=f"nest:{newest.pk}", state="waiting").exists()


def test_a_part_that_a_person_told_apart_is_not_forgotten(read, floor):
    read("one", angle())
    revision = read("two", angle(hole=20.5))
    [like] = LikePart.objects.all()
    likeness_answer(like=like, answer="other", by=floor.person)
    revision.contours.all().delete()
    parts_recognise(key=f"nest:{revision.pk}", payload={})
    assert LikePart.objects.get() == like


def test_nests_read_before_are_looked_at_once(read):
    revision = read("one", angle())
    assert parts_missing() == 0
    type(revision).objects.update(known_by=0)
    assert parts_missing() == 1
    parts_recognise(key=f"nest:{revision.pk}", payload={})
    assert (parts_missing(), KnownPart.objects.count()) == (0, 1)


def test_what_cannot_be_done_is_asked_for_once_a_day_and_keeps_no_other_waiting(read):
    for name in ("one", "two"):
        revision = read(name, angle())
        type(revision).objects.filter(pk=revision.pk).update(known_by=0, reader=0)
    first = type(revision).objects.order_by("pk")[0]
    Work.objects.all().delete()
    assert (parts_missing(most=1), nests_read_before(most=1)) == (1, 1)
    assert set(Work.objects.values_list("key", flat=True)) >= {f"nest:{first.pk}"}
    Work.objects.update(state="failed")
    parts_missing(most=1)
    nests_read_before(most=1)
    keys = Work.objects.filter(state="waiting").order_by("kind").values_list("kind", "key")
    assert list(keys) == [
        ("parts", f"nest:{revision.pk}"), ("reread", f"nest:{revision.nest_id}"),
    ]  # fmt: skip
    Work.objects.update(wanted_at=timezone.now() - timedelta(days=2), state="failed")
    assert (parts_missing(), nests_read_before()) == (2, 2)


def test_a_mark_in_the_drawing_that_the_program_leaves_out_is_no_difference(read, drawn):
    def plate(space):
        square(space)
        square(space, 30, 30, 40)
        space.add_line((5, 5), (25, 5), dxfattribs={"layer": "ETCH"})

    drawn("base", plate)
    edges = [(0, 100), (30, 70)]
    read("one", "".join(path((a, a), (b, a), (b, b), (a, b), (a, a)) for a, b in reversed(edges)))
    [part] = KnownPart.objects.all()
    assert (part.name, part.marked, part.places.count()) == ("base", True, 2)


@pytest.mark.parametrize("marked", [False, True])
def test_a_part_turned_over_is_another_where_it_has_a_face(read, marked):
    read("one", angle())
    KnownPart.objects.update(marked=marked)
    over = [(-x, y) for x, y in [(0, 0), (120, 0), (120, 40), (50, 40), (50, 90), (0, 90), (0, 0)]]
    hole = [(-15, 15), (-35, 15), (-35, 35), (-15, 35), (-15, 15)]
    read("two", path(*hole) + path(*over))
    if marked:
        _old, new = KnownPart.objects.order_by("pk")
        assert [like.changes[0]["what"] for like in new.likes.all()] == ["mirror"]
    else:
        [part] = KnownPart.objects.all()
        assert sorted(place.turned_over for place in part.places.all()) == [0, 1]


@pytest.mark.django_db(transaction=True)
def test_shapes_are_compared_before_anything_is_locked(read, monkeypatch):
    read("one", angle())
    judge, seen = recognise.judge, []

    def judged(*args):
        seen.append(connection.in_atomic_block)
        return judge(*args)

    monkeypatch.setattr(recognise, "judge", judged)
    # One that is known, one that is near it, and a second like that one.
    read("two", angle() + angle(hole=22.0, dx=300) + angle(hole=24.0, dx=600))
    assert len(seen) >= 4
    assert not any(seen)
    assert KnownPart.objects.count() == 3


def test_a_part_whose_kept_edges_meet_stops_no_other_from_being_read(read):
    """Rounded to a micron, two edges can cross that did not."""
    read("N-1", angle())
    KnownPart.objects.update(rings=[[[0, 0], [120, 90], [120, 0], [0, 90], [0, 0]]])
    read("N-2", angle())
    assert KnownPart.objects.count() == 2
