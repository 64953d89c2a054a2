"""No page reads a whole table that grows with the years: SQLite says how it would read each."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.db.models.signals import post_init
from django.test.utils import CaptureQueriesContext

from planning import reports
from planning.inputs.checks import checked_u
from planning.reports.failures import failures_board
from planning.reports.hand_over import drafts
from planning.reports.notes.finding import find_all
from planning.reports.notes.reading import notes_between
from planning.reports.queue import queue_plans
from planning.reports.route_data import hole_minutes
from planning.reports.wear_due import due_times
from planning.services.failures import failures_body
from shopfloor.models import (
    Check,
    Heat,
    Job,
    NestPlan,
    QueueItem,
    Run,
    RunState,
    Summary,
    Table,
)
from shopfloor.nests import plate_needed as low_stock
from shopfloor.nests.queries import nests_list
from shopfloor.notes.hand_overs import hand_overs_left
from shopfloor.quality.queries import CheckGroup, check_groups, countersigns_wanted, group_checks
from shopfloor.runs import desk_queries as desk
from shopfloor.runs import run_page as desk_runs
from shopfloor.runs.arcs import to_us
from shopfloor.runs.late_queries import came_after, decided_lately
from shopfloor.search import queries as finding
from shopfloor.sources.count_queries import count_preview
from shopfloor.stock.queries import stock_list, trace_sheets
from telemetry.models import Feed, Rollup
from tests.planning import cast

pytestmark = pytest.mark.django_db
OCTOBER = date(2026, 10, 1)
NOW = cast.at(cast.NOON, 4000)
GROWING = {
    "shopfloor_run", "shopfloor_segment", "shopfloor_stoppage", "shopfloor_posting",
    "shopfloor_runvariance", "shopfloor_runday", "shopfloor_check", "shopfloor_benchentry",
    "shopfloor_contour", "shopfloor_partresult", "shopfloor_arcassignment", "shopfloor_pieceuse",
    "shopfloor_action", "shopfloor_sheet", "shopfloor_nestrevision", "shopfloor_nestplan",
    "shopfloor_change", "shopfloor_queueitem", "shopfloor_shopnote", "shopfloor_handover",
    "telemetry_arc", "telemetry_event", "telemetry_rollup",
}  # fmt: skip


def scanned(asked: CaptureQueriesContext) -> list[str]:
    """Tables that one of the statements reads from end to end. A scan in order is one that ends at
    the statement's LIMIT."""
    found = []
    for query in asked.captured_queries:
        sql = query["sql"]
        if not sql.startswith("SELECT"):
            continue
        names = dict(re.findall(r'"(\w+)" (\w\d+)\b', sql))
        names = {alias: table for table, alias in names.items()}
        for line in plan_of(sql):
            word = re.match(r"SCAN (\w+)(.*)", line)
            if word is None:
                continue
            table = names.get(word[1], word[1])
            in_order = "INDEX" in word[2] or word[1] in names  # a subquery's: along the rows' ids
            if table in GROWING and not (in_order and "LIMIT" in sql):
                found.append(f"{table}: {sql[:300]}")
    return found


def plan_of(sql: str) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {sql.replace('%', '%%')}", ())
        return [str(row[3]) for row in cursor.fetchall()]


@pytest.fixture
def sqlite():
    if connection.vendor != "sqlite":
        pytest.skip("the plans read here are SQLite's")


READS = {
    "today": lambda shop: reports.today(now=NOW),
    "jobs of today": lambda shop: reports.jobs_today(now=NOW),
    "runs of a shift": lambda shop: desk_runs.runs_between(NOW - timedelta(hours=8), NOW),
    "months": lambda shop: reports.months(),
    "cost of a month": lambda shop: reports.cost_month(first_day=OCTOBER),
    "squareness": lambda shop: reports.squareness(first_day=OCTOBER),
    "factors": lambda shop: reports.factor_board(now=NOW),
    "routes": lambda shop: reports.nest_routes(nest_id=shop.nest_id, now=NOW),
    "u of checks": lambda shop: checked_u(),
    "minutes a hole": lambda shop: hole_minutes(),
    "plate": lambda shop: low_stock.plates(),
    "groups of checks": lambda shop: check_groups(),
    "countersigns": lambda shop: list(countersigns_wanted()),
    "sheets that are gone": lambda shop: list(stock_list(state="cut")[:50]),
    "what wants a hand": lambda shop: find_all(NOW),
    "notes of a day": lambda shop: notes_between(NOW - timedelta(days=1), NOW, NOW, UTC),
    "handed over": lambda shop: hand_overs_left(NOW - timedelta(hours=16), NOW),
    "drafts": lambda shop: drafts(NOW, inch=False),
    "lines left": lambda shop: desk.shift_notes(since=NOW - timedelta(hours=16), until=NOW),
    "find": lambda shop: finding.found("J-1"),
    "cost of a job": lambda shop: reports.job_cost(job_id=Job.objects.get().pk),
    "a plate of a month": lambda shop: reports.open_figure(
        kind="month_plate", id=f"{OCTOBER}:MS:6:fast"
    ),
    "quotes": lambda shop: reports.quote_board(now=NOW),
    "nests of a job": lambda shop: list(nests_list(text="J-1")),
    "wear": lambda shop: (reports.wear_board(now=NOW), reports.air_by_shift(now=NOW)),
    "failures": lambda shop: (failures_board(), failures_body(NOW)),
    "ends of pieces": lambda shop: due_times(now=NOW),
    "late entries": lambda shop: (decided_lately(), came_after(now=NOW)),
}


@pytest.mark.parametrize("name", READS)
def test_nothing_that_grows_is_read_from_end_to_end(a_shop, sqlite, name):
    Summary.objects.all().delete()  # the month is worked out, not read as it was kept
    with CaptureQueriesContext(connection) as asked:
        READS[name](a_shop)
    assert asked.captured_queries
    assert scanned(asked) == []


@pytest.mark.parametrize(
    "name", ["a plate of a month", "cost of a month", "groups of checks", "squareness"]
)
def test_nothing_goes_through_all_runs_of_a_state(a_shop, sqlite, name):
    """Finished runs are nearly all there ever were: an index of the state bounds nothing."""
    Summary.objects.all().delete()
    Check.objects.create(
        run=Run.objects.first(), at=NOW, by=Run.objects.first().segments.first().operator
    )
    with CaptureQueriesContext(connection) as asked:
        READS[name](a_shop)
    plans = {one["sql"]: plan_of(one["sql"]) for one in asked.captured_queries
             if one["sql"].startswith("SELECT") and '"shopfloor_run"' in one["sql"]}  # fmt: skip
    assert plans
    through = [sql for sql, plan in plans.items()
               if any("run_state_opened (state=?)" in line for line in plan)]  # fmt: skip
    assert through == []


def months_counted():
    """What a source counted in October, with the runs that were going."""
    feed = Feed.objects.get()
    Rollup.objects.create(feed=feed, table=feed.table, torch="1", bucket_us=to_us(cast.NOON),
                          burn_us=1, arcs=1)  # fmt: skip
    [october] = count_preview(feed, OCTOBER)
    assert october.runs == Run.objects.count() == 2


@pytest.mark.parametrize(
    ("reads", "index"),
    [
        (decided_lately, "action_decided"),
        (lambda: came_after(now=NOW), "action_flag_at"),
        (lambda: list(nests_list(text="J-1")), "contour_line_copy (line_id=? AND copy=?)"),
        (lambda: reports.wear_board(now=NOW), "fitting_removed"),
        (lambda: finding.found("J-1"), "SEARCH V0 USING INTEGER PRIMARY KEY (rowid>?)"),
        (months_counted, "(table_id=? AND opened_at>? AND opened_at<?)"),
        (lambda: low_stock.plates(), "(table_id=? AND state=?)"),
        (lambda: reports.quote_board(now=NOW), "SCAN shopfloor_quote USING INDEX quote_newest"),
        (lambda: reports.quote_board(now=NOW), "job_state_closed (state=?)"),
    ],
)
def test_newest_rows_are_found_by_their_index(a_shop, sqlite, reads, index):
    with CaptureQueriesContext(connection) as asked:
        reads()
    plans = [line for one in asked.captured_queries for line in plan_of(one["sql"])]
    assert [line for line in plans if index in line]


@pytest.mark.parametrize("reads", [lambda: stock_list(state="cut"), lambda: heat_sheets()])
def test_sheets_are_not_gone_through_material_by_material(a_shop, sqlite, reads):
    with CaptureQueriesContext(connection) as asked:
        list(reads()[:50])
    [plan] = [plan_of(one["sql"]) for one in asked.captured_queries
              if 'FROM "shopfloor_sheet"' in one["sql"]]  # fmt: skip
    assert [line for line in plan if "shopfloor_material" in line] == []


def heat_sheets():
    heat = Heat.objects.create(number="H-1", material=cast.material())
    cast.sheet(31_000, heat=heat)
    return trace_sheets(heat.sheet_set.all())


def test_of_what_waits_only_the_plan_of_its_place_is_read(a_shop, north):
    """A nest has a plan for every table and set, each with all its arcs."""
    south = Table.objects.create(code="south-9", name="South 9")
    other = cast.wear_set("fine-40", "fine", 40.0)
    for table, own in ((north, a_shop.nest.wear_set), (south, a_shop.nest.wear_set),
                       (north, other)):  # fmt: skip
        NestPlan.objects.update_or_create(
            revision=a_shop, table=table, wear_set=own,
            defaults={"total_s": 60.0, "arcs_s": [1.0, 2.0], "computed_at": NOW},
        )  # fmt: skip
    QueueItem.objects.create(nest=a_shop.nest, table=north, position=1, state="waiting")
    QueueItem.objects.create(nest=a_shop.nest, table=south, position=1, state="done")
    read: list[tuple[int, int]] = []

    def seen(instance, **_):
        read.append((instance.table_id, instance.wear_set_id))

    post_init.connect(seen, sender=NestPlan)
    try:
        [item] = queue_plans(arcs=True)
    finally:
        post_init.disconnect(seen, sender=NestPlan)
    assert read == [(north.pk, a_shop.nest.wear_set_id)]
    assert (item.table_id, item.arcs_s) == (north.pk, (1.0, 2.0))


def test_a_scan_is_seen(a_shop, sqlite):
    """The test above can fail: a search no index helps with is one."""
    with CaptureQueriesContext(connection) as asked:
        list(Run.objects.filter(note="x"))
    assert [line.split(":")[0] for line in scanned(asked)] == ["shopfloor_run"]


def test_an_open_stretch_counts_however_long_ago_it_began(a_shop, north, operator):
    """Only ended stretches are bounded: one left open for months is still on."""
    long_ago = NOW - timedelta(days=200)
    made = cast.run(a_shop, north, start=long_ago, operator=operator, state=RunState.OPEN)
    made.segments.update(ended_at=None)
    [table] = [each for each in reports.today(now=NOW).tables if each.code == north.code]
    assert table.current is not None
    assert uuid.UUID(table.current.run_id) == made.pk


def test_a_name_is_found_however_old_it_is(a_shop, monkeypatch):
    """Older things by how their name begins, in any case; newer ones by any part of it."""
    monkeypatch.setattr(finding, "NEWEST", 1)
    cast.job("NEW-7")
    assert [row.name for group in finding.found("EW-7") for row in group.rows] == ["NEW-7"]
    for typed in ("J-1", "j-1"):
        assert "J-1" in [row.name for group in finding.found(typed) for row in group.rows]


def test_going_on_counts_runs_by_the_shops_own_days(a_shop, north, operator):
    """A run begun late on 30 September by the shop's clock is not one of October."""
    late = datetime(2026, 10, 1, 3, tzinfo=UTC)  # 22:00 on 30 September in Chicago
    cast.run(a_shop, north, start=late, operator=operator, state=RunState.OPEN)
    assert not [one for one in reports.cost_month(first_day=OCTOBER).unknown if "go on" in one]
    Run.objects.filter(state=RunState.OPEN).update(opened_at=late + timedelta(hours=3))
    assert [one for one in reports.cost_month(first_day=OCTOBER).unknown if "goes on" in one]


def test_lines_left_are_found_by_their_own_time(a_shop, sqlite):
    """By their state alone, every action there ever was is read."""
    since, until = NOW - timedelta(hours=16), NOW
    with CaptureQueriesContext(connection) as asked:
        desk.shift_notes(since=since, until=until)
    assert any("action_kind_at" in line for line in plan_of(asked.captured_queries[0]["sql"]))


def test_checks_of_a_rare_group_are_found_by_its_nests(a_shop, sqlite, operator):
    run = Run.objects.first()
    nest = run.revision.nest
    for hour in range(3):
        Check.objects.create(run=run, at=cast.at(NOW, hour), by=operator, u_mm=0.1 * hour)
    group = CheckGroup(nest.wear_set, nest.material, nest.thickness_mm, "", checks=3)
    with CaptureQueriesContext(connection) as asked:
        found = group_checks(group)
    assert [check.u_mm for check in found] == [0.0, 0.1, 0.2]
    assert scanned(asked) == []


def test_a_plate_of_a_month_reads_no_whole_plan(a_shop):
    [hours] = reports.cost_month(first_day=OCTOBER).hours.to_dict("records")
    cell = f"{OCTOBER}:{hours['material']}:{hours['thickness_mm']:g}:{hours['duty']}"
    with CaptureQueriesContext(connection) as asked:
        reports.open_figure(kind="month_plate", id=cell)
    runs = [one["sql"] for one in asked.captured_queries if 'FROM "shopfloor_run"' in one["sql"]]
    assert runs
    assert [sql for sql in runs if '"shopfloor_run"."plan"' in sql] == []
