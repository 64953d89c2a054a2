"""A table's settings: kept with who and why, used in reading and planning, plans older than they
named and worked out anew."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from planning.services.work import run_all_waiting
from shopfloor.chart.services import chart_apply
from shopfloor.models import NestPlan, Work
from shopfloor.nests.services import nest_edit, revision_add
from shopfloor.site.dialect import dialect_of
from shopfloor.site.table_history import stale_nests, table_history
from shopfloor.site.tables import table_set

CHART = (
    b"set,duty,current_a,material,thickness_mm,speed_mm_min,pierce_delay_s\n"
    b"F120,fast,120,A36,6.35,2000,0.5\n"
)


@pytest.fixture
def planned(nest):
    chart_apply(CHART)
    run_all_waiting()
    return NestPlan.objects.get()


def test_a_change_is_kept_with_who_and_why(north, sign_in, planner):
    page = sign_in(planner)
    address = reverse("table_figures", args=[north.pk])
    sent = {name: value for name, value in page.get(address).context["form"].initial.items()
            if value is not None}  # fmt: skip
    page.post(address, {**sent, "accel_mm_s2": 800, "why": "new drives"})
    north.refresh_from_db()
    assert north.accel_mm_s2 == 800
    [change] = table_history(north)
    assert (change.who, change.why) == ("ines", "new drives")
    assert change.changes == (("accel_mm_s2", 500.0, 800.0),)
    assert "500 → 800" in page.get(address).content.decode()


def test_in_inches_a_figure_left_alone_keeps_its_last_digit(north, sign_in, planner):
    planner.units = "inch"
    planner.save()
    page = sign_in(planner)
    address = reverse("table_figures", args=[north.pk])
    shown = page.get(address).context["form"].initial
    assert shown["rapid_mm_min"] == 590.5512  # 15000 / 25.4
    sent = {name: value for name, value in shown.items() if value is not None}
    page.post(address, {**sent, "accel_mm_s2": 20, "why": "measured"})
    north.refresh_from_db()
    assert (north.accel_mm_s2, north.rapid_mm_min) == (508.0, 15_000.0)


def test_a_change_makes_older_plans_known_and_plans_them_anew(planned, north):
    before = planned.total_s
    table_set(table=north, why="measured", accel_mm_s2=50.0)
    assert [nest.pk for nest in stale_nests(north)] == [planned.revision.nest_id]
    assert run_all_waiting() == 1
    again = NestPlan.objects.get()
    assert again.snapshot["motion"]["accel_mm_s2"] == 50.0
    assert again.total_s > before
    assert not stale_nests(north).exists()


def test_a_slower_axis_and_a_lift_make_plans_longer(planned, north):
    before = planned
    table_set(table=north, why="measured", accel_y_mm_s2=40.0, lift_s=2.0, settle_s=0.5)
    run_all_waiting()
    again = NestPlan.objects.get()
    assert again.touch_off_s == pytest.approx(before.touch_off_s + 2.0 * before.pierces)
    assert again.pierce_s == pytest.approx(before.pierce_s + 0.5 * before.pierces)
    assert again.cut_s > before.cut_s
    motion = again.snapshot["motion"]
    assert (motion["accel_y_mm_s2"], motion["lift_s"]) == (40.0, 2.0)
    assert "accel_x_mm_s2" not in motion


def test_in_inches_a_limit_is_typed_in_inches_and_may_be_blank(north, sign_in, planner):
    planner.units = "inch"
    planner.save()
    page = sign_in(planner)
    address = reverse("table_figures", args=[north.pk])
    shown = page.get(address).context["form"].initial
    sent = {name: value for name, value in shown.items() if value is not None}
    page.post(address, {**sent, "speed_x_mm_min": 400, "jerk_mm_s3": "", "why": "its sheet"})
    north.refresh_from_db()
    assert (north.speed_x_mm_min, north.jerk_mm_s3) == (10_160.0, None)
    assert "top speed of X, mm/min: blank → 10160" in page.get(address).content.decode()
    page.post(address, {**sent, "speed_x_mm_min": "", "why": "no limit after all"})
    north.refresh_from_db()
    assert north.speed_x_mm_min is None


def test_what_marks_is_typed_as_codes_and_kept(north, sign_in, planner):
    page = sign_in(planner)
    address = reverse("table_figures", args=[north.pk])
    shown = page.get(address).context["form"].initial
    sent = {name: value for name, value in shown.items() if value is not None}
    sent |= {"torch_mark": "M7, M8", "mark_speed_mm_min": 6000, "why": "the control's book"}
    page.post(address, sent)
    north.refresh_from_db()
    assert north.dialect == {"torch_mark": ["M7", "M8"]}
    assert dialect_of(north).mark_codes == {7.0, 8.0}
    assert north.mark_speed_mm_min == 6000
    page.post(address, sent)  # sent again it changes nothing
    assert len(table_history(north)) == 1


def test_nothing_changed_is_no_change(planned, north):
    assert table_set(table=north, why="", accel_mm_s2=north.accel_mm_s2) == ()
    assert north.figures_at is None
    assert not Work.objects.filter(state="waiting").exists()


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"accel_mm_s2": 0.0}, "The acceleration in mm/s² must be above zero"),
        ({"rapid_mm_min": -5.0}, "The rapid in mm/min"),
        ({"jerk_mm_s3": 0.0}, "The jerk in mm/s³ must be above zero"),
        ({"torch_on": "M5"}, "lights the torch and puts it out"),
        ({"torch_on": "FIRE"}, "M code"),
        ({"torch_off": ""}, "At least one code"),
        ({"dialect": {"comment_marks": "X"}}, "comment begins"),
    ],
)
def test_settings_no_table_has_are_refused(north, values, said):
    with pytest.raises(ValidationError, match=said):
        table_set(table=north, why="try", **values)


def test_a_change_needs_its_why(north):
    with pytest.raises(ValidationError, match="Say why"):
        table_set(table=north, why=" ", load_s=10.0)


def test_a_dwell_in_milliseconds_is_planned_so(nest, north, planner):
    raw = b"G21 G90\nM3\nG4 P500\nG1 X100 Y0\nM5\n"
    table_set(table=north, why="its manual", dialect={"dwell_unit": "ms"})
    revision_add(nest=nest, file_name="ms.nc", raw=raw, by=planner)
    chart_apply(CHART)
    run_all_waiting()
    plan = NestPlan.objects.get(revision__file_name="ms.nc")
    # The chart's 0.5 s of pierce delay and the program's 500 ms.
    assert plan.pierce_s == pytest.approx(1.0, abs=1e-9)


def test_another_reading_of_the_same_bytes_is_a_new_revision(nest, north, planner, job):
    raw = b"G21 G90\nM3\nG1 X100 Y0\nM5\nM7\nG1 X200 Y0\nM5\n"
    revision_add(nest=nest, file_name="two.nc", raw=raw, by=planner)
    run_all_waiting()
    assert nest.revisions.count() == 2
    table_set(table=north, why="its manual", torch_on="M3 M7")
    run_all_waiting()
    newest = nest.revisions.order_by("-revision").first()
    assert (newest.revision, newest.contours.count()) == (3, 2)
    table_set(table=north, why="rounder", rapid_mm_min=20_000.0)
    run_all_waiting()
    assert nest.revisions.count() == 3


def test_a_table_that_waits_says_so_on_its_page(planned, north, sign_in, operator):
    table_set(table=north, why="measured", accel_mm_s2=50.0)
    NestPlan.objects.update(computed_at=north.figures_at - timedelta(minutes=5))
    text = sign_in(operator).get(reverse("table_figures", args=[north.pk])).content.decode()
    assert "1 nest still planned with the figures before" in text
    assert planned.revision.nest.name in text
    assert "Keep and plan again" not in text


def test_a_nest_moved_to_a_table_that_reads_otherwise_is_read_again(nest, south, planner, fast):
    raw = b"G21 G90\nM3\nG1 X100 Y0\nM5\nM7\nG1 X200 Y0\nM5\n"
    revision_add(nest=nest, file_name="two.nc", raw=raw, by=planner)
    table_set(table=south, why="its manual", torch_on="M3 M7")
    nest_edit(nest=nest, wear_set=fast, table=south, sheets_wanted=1)
    run_all_waiting()
    newest = nest.revisions.order_by("-revision").first()
    assert (newest.revision, newest.contours.count()) == (3, 2)
