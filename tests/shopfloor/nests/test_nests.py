"""Programs become nests: contours, holes, copies, ties, revisions, the queue."""

from __future__ import annotations

import math

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from shopfloor.models import Contour, Nest, NestPlan, NestRevision, QueueItem, Work
from shopfloor.nests.part_lines import assign_parts_to_lines, revision_groups
from shopfloor.nests.queries import revision_plans
from shopfloor.nests.queue import queue_add, queue_drop, queue_first, queue_move
from shopfloor.nests.services import revision_add
from tests.shopfloor.conftest import PROGRAM


@pytest.fixture
def revision(nest):
    return nest.revisions.get()


def post_program(page, url: str, raw: bytes, **more):
    return page.post(url, {"file": SimpleUploadedFile("plates.nc", raw), **more}, follow=True)


def test_a_hole_belongs_to_the_outline_around_it(revision):
    found = list(revision.contours.values_list("number", "inner", "part", "copy"))
    # Contour 1 is the hole of the plate cut as contour 2; contour 3 has no hole: another shape.
    assert found == [(1, True, "shape 2", 1), (2, False, "shape 2", 1), (3, False, "shape 3", 1)]


def test_net_area_is_the_plate_less_its_hole(revision):
    areas = dict(revision.contours.values_list("number", "net_area_mm2"))
    assert areas[1] is None
    assert areas[2] == pytest.approx(100 * 100 - math.pi * 10**2, rel=1e-6)
    assert areas[3] == pytest.approx(100 * 100, rel=1e-9)


def test_lengths_and_points_are_kept_for_the_map(revision):
    hole, plate, _ = revision.contours.order_by("number")
    assert hole.cut_mm == pytest.approx(2 * math.pi * 10, rel=1e-6)
    assert plate.cut_mm == pytest.approx(400)
    assert plate.points == [[0, 0], [100, 0], [100, 100], [0, 100], [0, 0]]
    assert revision.extents_mm == [0, 0, 300, 100]


def test_a_new_revision_wants_its_plan(revision):
    assert Work.objects.filter(kind="nest", key=str(revision.pk), state="waiting").count() == 1


def test_the_same_bytes_make_no_revision(nest, planner):
    kept, changed = revision_add(nest=nest, file_name="again.nc", raw=PROGRAM, by=planner)
    assert (changed, kept.revision, nest.revisions.count()) == ("nothing", 1, 1)


def test_a_changed_comment_voids_nothing(nest, revision, job, planner):
    assign_parts_to_lines(revision=revision, ties={"2": [(job.lines.get(), None)]})
    raw = PROGRAM.replace(b"(two plates)", b"(two plates, checked)").replace(
        b"G1 X100 Y0", b"G1X100Y0"
    )
    fresh, changed = revision_add(nest=nest, file_name="plates.nc", raw=raw, by=planner)
    assert changed == "comment"
    assert fresh.bytes_sha256 != revision.bytes_sha256
    assert fresh.path_sha256 == revision.path_sha256
    assert list(fresh.contours.values_list("number", "line", "copy")) == list(
        revision.contours.values_list("number", "line", "copy")
    )


@pytest.mark.parametrize(
    ("old", "new"),
    [(b"X100 Y100", b"X100 Y101"), (b"F2000", b"F1900"), (b"G3 X50", b"G2 X50")],
)
def test_a_changed_path_is_a_new_path(nest, revision, planner, old, new):
    raw = PROGRAM.replace(old, new)
    fresh, changed = revision_add(nest=nest, file_name="plates.nc", raw=raw, by=planner)
    assert changed == "path"
    assert fresh.path_sha256 != revision.path_sha256


def test_ties_stay_where_a_part_stayed_as_it_was(nest, revision, job, planner):
    line = job.lines.get()
    assign_parts_to_lines(revision=revision, ties={"2": [(line, None)], "3": [(line, None)]})
    raw = PROGRAM.replace(b"X300 Y100", b"X300 Y120").replace(b"X200 Y100", b"X200 Y120")
    fresh, _ = revision_add(nest=nest, file_name="plates.nc", raw=raw, by=planner)
    assert list(fresh.contours.values_list("number", "line")) == [
        (1, line.pk),
        (2, line.pk),
        (3, None),
    ]


def test_copies_are_numbered_through_a_line(revision, job):
    line = job.lines.get()
    assign_parts_to_lines(revision=revision, ties={"2": [(line, None)], "3": [(line, None)]})
    assert list(revision.contours.values_list("number", "part", "copy")) == [
        (1, "plate", 1),
        (2, "plate", 1),
        (3, "plate", 2),
    ]
    groups = revision_groups(list(revision.contours.order_by("number")))
    assert [group.parts for group in groups] == [((2, 1),), ((3,),)]


def test_one_sheet_serves_two_jobs(nest, job, planner, steel):
    """Four plates alike: three for one line, the rest for another."""
    from shopfloor.jobs.services import line_add

    square = b"G0 X%d Y0\nM3\nG1 X%d Y0\nX%d Y50\nX%d Y50\nX%d Y0\nM5\n"
    raw = b"G21 G90 F2000\n" + b"".join(
        square % (x, x + 50, x + 50, x, x) for x in (0, 100, 200, 300)
    )
    fresh, _ = revision_add(nest=nest, file_name="four.nc", raw=raw, by=planner)
    first = job.lines.get()
    second = line_add(job=job, part="small", quantity=1, material=steel, thickness_text="1/4 in")
    assign_parts_to_lines(revision=fresh, ties={"1": [(first, 3), (second, None)]})
    assert list(fresh.contours.values_list("line", "copy")) == [
        (first.pk, 1),
        (first.pk, 2),
        (first.pk, 3),
        (second.pk, 1),
    ]
    with pytest.raises(ValidationError, match="4 copies, not 5"):
        assign_parts_to_lines(revision=fresh, ties={"1": [(first, 5)]})


def test_the_tie_page_ties(nest, revision, job, sign_in, planner):
    page = sign_in(planner)
    url = reverse("nest_parts", args=[nest.pk])
    assert "K-2284" in page.get(url).content.decode()
    page.post(url, {"line_2": job.lines.get().pk, "count_2": "", "rest_2": "", "line_3": "",
                    "count_3": "", "rest_3": ""})  # fmt: skip
    assert Contour.objects.filter(revision=revision, line=job.lines.get()).count() == 2
    assert page.post(url, {"line_2": 999_999}).status_code == 200


def test_a_program_that_cannot_be_read_is_named_by_file_and_line(sign_in, planner, steel, fast):
    values = {"material": steel.pk, "thickness_text": "6 mm", "wear_set": fast.pk,
              "sheets_wanted": 1}  # fmt: skip
    raw = b"G21 G90\nM3\nG1 X10 Y\nM5\n"
    text = post_program(sign_in(planner), reverse("nest_add"), raw, **values).content.decode()
    assert "plates.nc:3: " in text
    assert not Nest.objects.exists()


def test_a_program_that_never_lights_the_torch_is_refused(sign_in, planner, steel, fast):
    values = {"material": steel.pk, "thickness_text": "6 mm", "wear_set": fast.pk,
              "sheets_wanted": 1}  # fmt: skip
    answer = post_program(sign_in(planner), reverse("nest_add"), b"G21 G90\nG0 X1\n", **values)
    assert "never lights the torch" in answer.content.decode()
    assert not NestRevision.objects.exists()


def test_the_page_of_a_nest_counts_on_no_plan(nest, sign_in, planner):
    text = sign_in(planner).get(reverse("nest", args=[nest.pk])).content.decode()
    assert "Being planned" in text


def test_a_refused_route_says_why(nest, plan, sign_in, planner):
    plan.problem, plan.total_s = "6.35 mm is above the pierce limit of 6 mm", None
    plan.save()
    text = sign_in(planner).get(reverse("nest", args=[nest.pk])).content.decode()
    assert "above the pierce limit of 6 mm" in text


def test_the_page_of_a_nest_bears_being_planned_anew_meanwhile(
    nest, plan, sign_in, planner, monkeypatch
):
    """Planning anew deletes a nest's plans and writes them again, at any instant."""
    plan.problem, plan.total_s = "6.35 mm is above the pierce limit of 6 mm", None
    plan.save()

    def read(revision):
        plans = revision_plans(revision)
        NestPlan.objects.all().delete()
        return plans

    monkeypatch.setattr("shopfloor.nests.office.nests.revision_plans", read)
    page = sign_in(planner).get(reverse("nest", args=[nest.pk]))
    assert "above the pierce limit" in page.content.decode()


def test_a_plan_opens_to_what_it_was_made_from(plan, sign_in, planner, owner):
    url = reverse("plan", args=[plan.pk])
    text = sign_in(planner).get(url).content.decode()
    assert "2400 mm/min" in text
    assert "95.00" not in text
    assert "95.00" in sign_in(owner).get(url).content.decode()


def test_a_person_who_reads_inches_sees_inches(plan, sign_in, planner):
    planner.units = "inch"
    planner.save()
    text = sign_in(planner).get(reverse("plan", args=[plan.pk])).content.decode()
    assert "94 in/min" in text  # 2400 / 25.4 = 94.49


class TestQueue:
    @pytest.fixture
    def items(self, nest, north):
        return [queue_add(nest=nest, table=north) for _ in range(3)]

    def order(self, north):
        return list(
            QueueItem.objects.filter(table=north, state="waiting").values_list("pk", flat=True)
        )

    def test_moving_changes_places_with_the_neighbour(self, items, north):
        first, second, third = (item.pk for item in items)
        queue_move(item=items[2], up=True)
        assert self.order(north) == [first, third, second]
        queue_move(item=items[0], up=False)
        assert self.order(north) == [third, first, second]

    def test_first_goes_before_all_that_waits_and_leaves_their_order(self, items, north):
        first, second, third = (item.pk for item in items)
        queue_first(item=items[2])
        assert self.order(north) == [third, first, second]
        QueueItem.objects.filter(pk=third).update(state="running")
        queue_first(item=items[2])  # it waits no more
        assert self.order(north) == [first, second]

    def test_the_ends_stay_the_ends(self, items, north):
        queue_move(item=items[0], up=True)
        queue_move(item=items[2], up=False)
        assert self.order(north) == [item.pk for item in items]

    def test_what_is_burnt_is_not_dropped(self, items):
        QueueItem.objects.filter(pk=items[0].pk).update(state="running")
        with pytest.raises(ValidationError, match="no longer waits"):
            queue_drop(item=items[0])

    def test_a_sheet_is_promised_once(self, nest, north, sheet):
        queue_add(nest=nest, table=north, sheet=sheet)
        with pytest.raises(ValidationError, match="promised"):
            queue_add(nest=nest, table=north, sheet=sheet)

    def test_a_sheet_of_another_thickness_is_refused(self, nest, north, sheet):
        sheet.thickness_mm, sheet.thickness_text = 8.0, "8 mm"
        sheet.save()
        with pytest.raises(ValidationError, match="8 mm, the nest is for 1/4 in"):
            queue_add(nest=nest, table=north, sheet=sheet)
        sheet.thickness_mm = 6.0  # 6 mm plate may stand in for 1/4 in
        sheet.save()
        queue_add(nest=nest, table=north, sheet=sheet)

    def test_the_list_moves_by_its_buttons(self, items, north, sign_in, planner):
        page = sign_in(planner)
        page.post(reverse("queue_act", args=[items[1].pk]), {"do": "up"})
        page.post(reverse("queue_act", args=[items[2].pk]), {"do": "first"})
        assert self.order(north) == [items[2].pk, items[1].pk, items[0].pk]
        page.post(reverse("queue_act", args=[items[2].pk]), {"do": "drop"})
        assert self.order(north) == [items[1].pk, items[0].pk]
