"""Plans of nests as they are published."""

from __future__ import annotations

import pytest
from django.db import connection
from django.utils import timezone

from planning.reports import nest_by_sets
from planning.services import nest_plan as published
from planning.services.nest_plan import nest_plan
from shopfloor.models import ChartRow, Nest, NestPlan
from tests.planning import cast
from tests.planning.said import open_figure

pytestmark = pytest.mark.django_db

# A square of 100 mm, pierced at its corner, at exact stops: four sides of 100 mm
SQUARE = b"G21 G90 G61\nG0 X100 Y100\nM3\nG1 X200\nG1 Y200\nG1 X100\nG1 Y100\nM5\nM30\n"


def _row(the_set, thickness, speed, **more):
    values = {
        "wear_set": the_set,
        "material": cast.material(),
        "thickness_mm": thickness,
        "thickness_text": f"{thickness:g} mm",
        "speed_mm_min": speed,
        "pierce_delay_s": 0.5,
        "touch_off_s": 1.0,
        "arc_v": 120.0,
        "kerf_mm": 2.0,
        "valid_from": cast.NOON.replace(year=2020),
    } | more
    return ChartRow.objects.create(**values)


@pytest.fixture
def square(north, operator):
    north.accel_mm_s2, north.rapid_mm_min = 1000.0, 12_000.0
    north.load_s = north.unload_s = 60.0
    north.save()
    fast, fine = cast.wear_set(), cast.wear_set("fine-50", "fine", 50.0)
    _row(fast, 6.0, 3000.0, bench_min_per_m=2.0)
    _row(fine, 3.0, 1800.0)
    cast.part("electrode", 1900, 1000, the_set=fast)
    for kind, minor in (("machine", 6000), ("labour", 3000), ("gas", 3600), ("bench", 4800)):
        cast.rate(kind, minor)
    cast.rate("energy", 15)
    _, [line] = cast.job()
    return cast.nest(operator, [(line, 1e4, 10)], program=SQUARE)


def test_a_plan_is_published_for_each_admissible_set_and_says_why_not(square):
    """Each side by hand: 50 mm/s, 1,000 mm/s2: 100/50 + 50/1000 = 2.05 s, four of them 8.2 s.
    Travel of 141.42 mm at 200 mm/s: 141.42/200 + 200/1000 = 0.9071 s. Pierce 0.5 s, touch-off 1 s.
    The fine set's chart ends at 3 mm: refused, with the reason."""
    nest_plan(key=str(square.pk), payload={})
    plans = {plan.wear_set.code: plan for plan in NestPlan.objects.all()}
    fast = plans["fast-130"]
    assert fast.problem == ""
    assert fast.cut_s == pytest.approx(8.2)
    assert (fast.pierce_s, fast.touch_off_s, fast.pierces) == (0.5, 1.0, 1)
    assert fast.travel_s == pytest.approx(0.9071, abs=1e-4)
    assert fast.total_s == pytest.approx(8.2 + 0.5 + 1.0 + 0.9071, abs=1e-4)
    assert fast.arcs_s == [pytest.approx(8.7)]
    assert fast.bench_min == pytest.approx(0.8)  # 0.4 m at 2 min/m
    fine = plans["fine-50"]
    assert fine.total_s is None
    assert fine.problem


def test_its_costs_are_by_kind_without_material(square):
    """130.607 s on the table at $60/h is 2.18, at $30/h 1.09; 8.7 s of arc at $36/h of gas 0.09;
    0.8 min of bench at $48/h 0.64; one start of 1,000 at $19: 0.019 -> 0.02; 120 V x 130 A x 8.7 s
    / 0.9 = 0.0419 kWh at $0.15: 0.006 -> 0.01."""
    nest_plan(key=str(square.pk), payload={})
    fast = NestPlan.objects.get(wear_set__code="fast-130")
    assert fast.costs_minor == {
        "machine": 218,
        "labour": 109,
        "gas": 9,
        "bench": 64,
        "wear": 2,
        "energy": 1,
    }
    assert fast.snapshot["unknown"] == []
    assert fast.snapshot["chart_rows"][0]["speed_mm_min"] == 3000.0
    assert fast.snapshot["rates"]["machine"] == {"minor": 6000, "from": "2026-01-01"}


def test_planning_again_replaces_and_a_table_out_of_use_goes(square, north, south):
    nest_plan(key=str(square.pk), payload={})
    assert NestPlan.objects.count() == 4
    south.active = False
    south.save()
    nest_plan(key=f"nest:{square.nest_id}", payload={})
    assert NestPlan.objects.count() == 2
    assert set(NestPlan.objects.values_list("table", flat=True)) == {north.pk}


def test_an_unreadable_program_is_a_problem_with_its_line(square):
    square.program = b"G21\nG2 X1 Y1 R0.1\n"
    square.save()
    nest_plan(key=str(square.pk), payload={})
    assert all("line 2" in plan.problem for plan in NestPlan.objects.all())


def test_the_sets_are_shown_side_by_side(square, django_assert_max_num_queries):
    nest_plan(key=str(square.pk), payload={})
    with django_assert_max_num_queries(4):
        found = nest_by_sets(nest_id=square.nest_id)
    fine, fast = found.to_dict("records")
    assert (fine["duty"], fast["duty"]) == ("fine", "fast")
    assert fast["cost_minor"] == 218 + 109 + 9 + 64 + 2 + 1
    assert fast["least"]
    assert fast["chosen"]
    assert fine["problem"]
    assert found.attrs["currency"] == "USD"
    with pytest.raises(LookupError):
        nest_by_sets(nest_id=0)


def test_a_plan_opens_to_its_chart_row_and_motion(square):
    nest_plan(key=str(square.pk), payload={})
    pk = NestPlan.objects.get(wear_set__code="fast-130").pk
    opened = open_figure(kind="plan", id=str(pk))
    labels = [row.label for row in opened.rows]
    assert "Chart row 6 mm" in labels
    assert opened.evidence == "planned"


def test_a_nest_that_is_gone_is_no_error(db):
    nest_plan(key="1234", payload={})
    assert not Nest.objects.exists()


def test_a_nest_planned_elsewhere_meanwhile_is_planned_anew(square, monkeypatch):
    """The first way through reads the chart as it was; the other changes it and publishes."""
    plans, asked = published._plans, []

    def with_another(revision, now):
        found = plans(revision, now)
        asked.append(len(found))
        if len(asked) == 1:
            ChartRow.objects.filter(wear_set__code="fast-130").update(speed_mm_min=1500.0)
            nest_plan(key=str(square.pk), payload={})
        return found

    monkeypatch.setattr(published, "_plans", with_another)
    nest_plan(key=str(square.pk), payload={})
    assert len(asked) == 3
    fast = NestPlan.objects.get(wear_set__code="fast-130")
    assert fast.cut_s == pytest.approx(4 * (100 / 25 + 25 / 1000))  # the new speed


def test_planned_anew_it_goes_by_the_chart_in_force_by_then(square, monkeypatch):
    """A row that took effect after the first way through had begun."""
    plans, asked = published._plans, []

    def with_another(revision, now):
        found = plans(revision, now)
        asked.append(now)
        if len(asked) == 1:
            old = ChartRow.objects.get(wear_set__code="fast-130")
            ChartRow.objects.filter(pk=old.pk).update(valid_to=timezone.now())
            _row(old.wear_set, 6.0, 1500.0, valid_from=timezone.now())
            nest_plan(key=str(square.pk), payload={})
        return found

    monkeypatch.setattr(published, "_plans", with_another)
    nest_plan(key=str(square.pk), payload={})
    fast = NestPlan.objects.get(wear_set__code="fast-130")
    assert fast.cut_s == pytest.approx(4 * (100 / 25 + 25 / 1000))


@pytest.mark.django_db(transaction=True)
def test_a_program_is_planned_before_anything_is_locked(square, monkeypatch):
    read, locked = published._read, []

    def reading(raw, dialect):
        locked.append(connection.in_atomic_block)
        return read(raw, dialect)

    monkeypatch.setattr(published, "_read", reading)
    nest_plan(key=str(square.pk), payload={})
    assert locked == [False]
