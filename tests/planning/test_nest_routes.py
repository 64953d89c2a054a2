"""Routes of a small nest, from published rows to figures that can be worked by hand."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dashboards.ledgers.routes import route_names
from planning.reports import nest_routes
from planning.reports.route_data import before, hole_minutes
from planning.services.nest_plan import nest_plan
from shopfloor.models import (
    BenchEntry,
    Check,
    Contour,
    NestPlan,
    PartResult,
    PieceOutlook,
    Shift,
    TableDown,
)
from tests.planning import cast
from tests.planning.test_nest_plan import SQUARE, _row

pytestmark = pytest.mark.django_db
NOW = cast.NOON  # 12:00 in the early shift, which ends at 14:00


@pytest.fixture
def square(north, operator):
    """Four sides of 100 mm. Fast at 50 mm/s with 1,000 mm/s2: 8.2 s; fine at 25 mm/s:
    100/25 + 25/1000 = 4.025 s a side, 16.1 s. With load and unload of 10 min each route."""
    north.accel_mm_s2, north.rapid_mm_min = 1000.0, 12_000.0
    north.load_s = north.unload_s = 300.0
    north.save()
    fast, fine = cast.wear_set(), cast.wear_set("fine-50", "fine", 50.0)
    _row(fast, 6.0, 3000.0, bench_min_per_m=50.0, u_mm=0.3)  # 0.4 m: 20 min
    _row(fine, 6.0, 1500.0, bench_min_per_m=25.0, u_mm=0.15)  # 10 min
    for the_set in (fast, fine):
        cast.part("electrode", 1900, 1000, the_set=the_set)
    for kind, minor in (("machine", 6000), ("labour", 3000), ("gas", 3600), ("bench", 4800)):
        cast.rate(kind, minor)
    cast.rate("energy", 15)
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 10)], program=SQUARE)
    nest_plan(key=str(revision.pk), payload={})
    return revision


def routes(revision, **more):
    found = nest_routes(nest_id=revision.nest_id, now=more.pop("now", NOW), **more)
    names = route_names(found)
    return found, {names[row.route.key]: row for row in found.rows}


def checks(revision, table, by, the_set, values):
    run = cast.run(revision, table, start=cast.at(NOW, -90_000))
    run.segments.update(wear_set=the_set)
    for u_mm in values:
        Check.objects.create(run=run, at=NOW, by=by, u_mm=u_mm)


def test_what_a_table_does_first_has_the_loading_of_the_run_that_is_on(square, north, operator):
    """Planned 2 x 600 + 2 x 1 s and 300 s of loading, begun 100 s ago: 1402 s are left."""
    plan = cast.plan([600] * 2, load_s=300)
    cast.run(square, north, start=cast.at(NOW, -100), seconds=None, state="open", plan=plan)
    left = before(square.nest, north, NOW)
    assert (left.runs, left.seconds) == (1, pytest.approx(1402))
    assert before(square.nest, north, cast.at(NOW, 9999)).seconds == 0


def test_a_run_without_a_plan_leaves_unknown_what_is_first(square, north):
    cast.run(square, north, start=cast.at(NOW, -100), seconds=None, state="open", plan={})
    assert before(square.nest, north, NOW).seconds is None


def test_minutes_and_cost_are_those_of_the_plan(square):
    found, rows = routes(square)
    fast, fine = rows["fast 130 A"], rows["fine 50 A"]
    # program: cutting + 0.907 s of travel + 0.5 s of pierce + 1 s of touch-off; and 600 s
    assert fast.route.table_min == pytest.approx((8.2 + 2.4071 + 600) / 60, abs=1e-4)
    assert fine.route.table_min == pytest.approx((16.1 + 2.4071 + 600) / 60, abs=1e-4)
    assert (fast.route.bench_min, fine.route.bench_min) == (pytest.approx(20), pytest.approx(10))
    assert (found.prices.table, found.prices.bench) == (9000, 4800)
    # fine saves 10 min of bench (8.00) and takes 7.9 s more of table (0.20) and arc
    assert (fine.least, fast.least) == (True, False)
    assert fast.cost_minor - fine.cost_minor == pytest.approx(800 - 7.9 / 36 * 90, abs=10)


def test_the_bench_rate_at_which_fast_wins_makes_them_cost_the_same(square):
    _, rows = routes(square)
    fast, fine = rows["fast 130 A"].route, rows["fine 50 A"].route
    [flip] = [one for one in rows["fast 130 A"].flips if one.price == "bench"]
    others = (fine.table_min - fast.table_min) / 60 * 9000 + fine.wear_minor - fast.wear_minor
    others += fine.other_minor - fast.other_minor
    assert flip.side == "below"
    assert flip.at == pytest.approx(others / (10 / 60))


def test_u_is_the_charts_until_five_checks_are_in(square, north, operator):
    fine = cast.wear_set("fine-50", "fine", 50.0)
    checks(square, north, operator, fine, [0.14, 0.15, 0.16, 0.15])
    _, rows = routes(square)
    assert (rows["fine 50 A"].route.u.basis, rows["fine 50 A"].route.u.checks) == ("chart", 4)
    Check.objects.create(run=Check.objects.first().run, at=NOW, by=operator, u_mm=0.15)
    _, rows = routes(square)
    u = rows["fine 50 A"].route.u
    assert (u.basis, u.checks) == ("checks", 5)
    assert u.low_mm < 0.15 < u.high_mm < 0.192


def test_what_is_asked_is_held_against_the_upper_end(square, north, operator):
    line = square.contours.first().line
    line.u_range_asked, line.next_step = 2, "weld"  # range 2 at 6 mm ends at 0.192
    line.save()
    fine, fast = cast.wear_set("fine-50", "fine", 50.0), cast.wear_set()
    checks(square, north, operator, fine, [0.14, 0.15, 0.16, 0.15, 0.15])
    found, rows = routes(square)
    assert (found.asked.u_range, found.limit_mm) == (2, pytest.approx(0.192))
    assert rows["fine 50 A"].route.verdict == "meets"
    assert rows["fast 130 A"].route.verdict == "fails"  # the chart's own 0.3
    assert rows["fast 130 A"].flips == ()
    assert "pores" in rows["fine 50 A"].edges[0]
    assert fast.gas == "air"


def test_a_line_that_must_be_fine_refuses_fast(square):
    line = square.contours.first().line
    line.must_be_fine = True
    line.save()
    _, rows = routes(square)
    assert (rows["fast 130 A"].route.verdict, rows["fine 50 A"].route.verdict) == (
        "fails", "not_asked",
    )  # fmt: skip


def test_it_is_through_the_bench_after_change_table_and_bench_in_shifts(square, north):
    _, rows = routes(square)
    # nothing is fitted: 12 min of change, 10 min 10.6 s of table, 20 min of bench
    minutes = 12 + rows["fast 130 A"].route.table_min + 20
    assert rows["fast 130 A"].finish_at == pytest.approx(
        NOW + timedelta(minutes=minutes), abs=timedelta(seconds=1)
    )


def test_a_table_that_is_down_ends_late_or_nobody_knows_when(square, north):
    """With shifts and in a shop that has set none. Free from the start of the next hour: 10 min
    10.6 s of table, 12 min of change, 20 min of bench."""
    down = TableDown.objects.create(
        table=north, started_at=NOW, ended_at=NOW + timedelta(days=90), planned=False
    )
    for _shop in ("with shifts", "without"):
        TableDown.objects.update(ended_at=NOW + timedelta(days=90))
        assert routes(square)[1]["fast 130 A"].finish_at is None
        TableDown.objects.filter(pk=down.pk).update(ended_at=NOW + timedelta(hours=1))
        row = routes(square)[1]["fast 130 A"]
        minutes = 60 + 12 + row.route.table_min + 20
        assert row.finish_at == pytest.approx(
            NOW + timedelta(minutes=minutes), abs=timedelta(seconds=1)
        )
        Shift.objects.all().delete()


def test_behind_a_run_without_a_plan_nobody_knows_when(square, north):
    cast.run(square, north, start=NOW, seconds=None, state="open")
    found, rows = routes(square)
    assert (found.before.seconds, found.before.runs) == (None, 1)
    assert rows["fast 130 A"].finish_at is None


def test_pieces_are_counted_from_what_is_in_the_torch(square, north, operator):
    NestPlan.objects.update(pierces=1500)
    piece = cast.piece("electrode", 1900, 1000)
    cast.fitting(piece, north, cast.at(NOW, -3600), by=operator)
    PieceOutlook.objects.create(piece=piece, starts=600, starts_left=400, computed_at=NOW)
    _, rows = routes(square)
    # fast is in: 1500 - 400 = 1100 over: 2 of 1000; fine: 1500 starts: 2 of 1000; drawer empty
    [need] = rows["fast 130 A"].needs
    assert (need.needed, need.in_drawer, need.short) == (2, 0, True)
    assert rows["fine 50 A"].needs[0].needed == 2
    assert (rows["fast 130 A"].change_min, rows["fine 50 A"].change_min) == (0.0, 12.0)


def test_a_route_costs_the_set_change_it_names(square, north, operator):
    """With fast in the torch, 12 min of change at the table's rate come on top of fine alone."""
    found, empty = routes(square)
    cast.fitting(cast.piece("electrode"), north, cast.at(NOW, -3600), by=operator)
    _, rows = routes(square)
    change_minor = 12 / 60 * found.prices.table
    for name, saved in (("fast 130 A", change_minor), ("fine 50 A", 0)):
        dear, now = empty[name].route, rows[name].route
        assert dear.cost_minor(found.prices) - now.cost_minor(found.prices) == pytest.approx(saved)
    assert rows["fine 50 A"].change_min == 12.0


def test_at_another_speed_neither_u_nor_bench_is_known(square):
    _, rows = routes(square, speed_share=0.8)
    slow = rows["fast 130 A at 80%"]
    # 40 mm/s: 100/40 + 40/1000 = 2.54 s a side, 10.16 s
    assert slow.route.table_min == pytest.approx((10.16 + 2.4071 + 600) / 60, abs=1e-4)
    assert (slow.route.u.u_mm, slow.route.bench_min, slow.cost_minor) == (None, None, None)
    with pytest.raises(ValueError, match="50% to 120%"):
        routes(square, speed_share=0.2)


def test_small_holes_make_a_route_by_hand_from_the_shops_own_log(square, operator):
    line = square.contours.first().line
    # a hole of 5 mm in 6 mm plate: 15.708 mm long
    Contour.objects.create(
        revision=square, number=2, line=line, copy=1, inner=True, cut_mm=15.708, part="plate"
    )
    found, rows = routes(square)
    assert found.small_holes == 1
    assert rows["fast 130 A, holes by hand"].route.bench_min is None  # nobody has logged any
    run = cast.run(square, square.plans.first().table)
    PartResult.objects.create(run=run, line=line, outcome="good", quantity=10, by=operator, at=NOW)
    BenchEntry.objects.create(line=line, kind="holes", minutes=15.0, at=NOW, by=operator)
    found, rows = routes(square)
    # 15 min over 10 good parts of one hole: 1.5 min each
    assert found.hole_minutes.minutes == pytest.approx(1.5)
    assert rows["fast 130 A, holes by hand"].route.bench_min == pytest.approx(21.5)
    assert rows["fast 130 A"].route.bench_min == pytest.approx(20)


def test_holes_are_shared_by_all_parts_that_a_contour_makes(square, operator):
    """Two holes of a contour that makes four parts: half a hole each, five of ten parts."""
    line = square.contours.first().line
    square.contours.update(parts=4)
    for number in (2, 3):
        Contour.objects.create(
            revision=square, number=number, line=line, copy=1, inner=True, cut_mm=15.7, part="plate"
        )
    run = cast.run(square, square.plans.first().table)
    PartResult.objects.create(run=run, line=line, outcome="good", quantity=10, by=operator, at=NOW)
    BenchEntry.objects.create(line=line, kind="holes", minutes=15.0, at=NOW, by=operator)
    found = hole_minutes()
    assert (found.minutes, found.holes) == (3.0, 5)


def test_there_is_no_route_of_nothing(shop, square):
    with pytest.raises(LookupError):
        nest_routes(nest_id=0, now=NOW)
    with pytest.raises(LookupError):
        nest_routes(nest_id=square.nest_id, now=NOW, table_id=0)
