"""A week of one table, every element worked by hand; formulas are those of ISO 22400-2 as
`planning.calc.indicators` has them."""

from __future__ import annotations

from datetime import date, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.inputs import chunks
from planning.reports import measures
from planning.reports.measure_list import MEASURES
from planning.reports.measure_sums import added, sums_by_run, sums_by_table
from shopfloor.models import Check, PartResult, Reason, RunDay, Shift
from tests.planning import cast
from tests.planning.said import open_figure

pytestmark = pytest.mark.django_db
DAY = date(2026, 10, 6)
NOW = cast.NOON + timedelta(days=2)


@pytest.fixture
def week(north, operator):
    """One early shift of 8 h with a break of 30 min; 4 h in a run, 3 of them burning, planned 2.7;
    half an hour of unplanned stop, 12 min of set change, 18 min of a planned meeting."""
    Shift.objects.exclude(name="early").delete()
    Shift.objects.update(breaks=[["09:30", 30, "break"]])
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 10)])
    run = cast.run(revision, north)
    RunDay.objects.create(
        run=run, shift_date=DAY, table=north, wear_set=cast.wear_set(), arc_s=10_800.0,
        elapsed_s=14_400.0, planned_arc_s=9_720.0, evidence="measured",
    )  # fmt: skip
    for outcome, quantity in (("good", 18), ("good", -1), ("scrap", 2), ("rework", 1)):
        PartResult.objects.create(
            run=run, line=line, outcome=outcome, quantity=quantity, by=operator, at=NOW
        )
    for passed in (True, True, True, False, None):
        Check.objects.create(run=run, at=NOW, by=operator, passed=passed)
    meeting = Reason.objects.create(code="meeting", label="meeting", planned=True)
    change = Reason.objects.create(
        code="set-change", label="set change", kind="change", planned=True
    )
    for start, seconds, reason in ((0, 1800, None), (1800, 720, change), (3600, 1080, meeting)):
        cast.stoppage(run, cast.at(cast.NOON, start), seconds, reason=reason)
    return run


def test_every_ratio_by_hand(week):
    [north] = measures(first=DAY, last=DAY, now=NOW).tables
    # planned busy: 8 h - 0.5 h break - 0.3 h meeting = 7.2 h
    assert north.elements.pbt == pytest.approx(7.2)
    r = north.ratios
    assert r.availability == pytest.approx(3 / 7.2)
    assert r.allocation_efficiency == pytest.approx(4 / 7.2)
    assert r.utilisation_efficiency == pytest.approx(3 / 4)
    assert r.technical_efficiency == pytest.approx(3 / 3.5)
    assert r.setup_rate == pytest.approx(0.2 / 3.2)
    assert r.effectiveness == pytest.approx(0.9)  # 9,720 / 10,800
    # 17 good, 2 scrap, 1 rework: 20 parts
    assert (r.quality, r.scrap, r.rework) == pytest.approx((0.85, 0.1, 0.05))
    assert r.first_pass_yield == pytest.approx(0.75)
    assert r.oee == pytest.approx(3 / 7.2 * 0.9 * 0.85)
    assert (north.busy_h, north.measured_h, north.planned_share) == (4.0, 4.0, 1.0)


def test_a_measure_is_the_ratio_of_the_sums_that_it_names(week):
    """What the page says a ratio is made of gives the ratio that is shown."""
    [north] = measures(first=DAY, last=DAY, now=NOW).tables
    sums = {name: own.base(north.elements) for name, own in MEASURES.items()}
    assert {name for name, found in sums.items() if found is None} == {"effectiveness", "oee"}
    for name, found in sums.items():
        if found is not None:
            assert found[0] / found[1] == pytest.approx(getattr(north.ratios, name)), name
    assert MEASURES["technical_efficiency"].how == "burning / (burning + unplanned stops)"
    assert MEASURES["oee"].how == "availability × effectiveness × quality ratio"


def test_what_is_not_known_is_unknown_and_not_nothing(north):
    [found] = measures(first=DAY, last=DAY, now=NOW).tables
    r = found.ratios
    assert (r.availability, r.quality, r.oee, r.effectiveness, r.first_pass_yield) == (None,) * 5
    assert (found.elements.apt, found.planned_share) == (None, None)


def test_effectiveness_is_of_runs_with_a_plan_alone(week, north):
    other = cast.run(week.revision, north, start=cast.at(cast.NOON, -9000))
    RunDay.objects.create(
        run=other, shift_date=DAY, table=north, wear_set=cast.wear_set(), arc_s=3_600.0,
        elapsed_s=3_600.0, evidence="entered",
    )  # fmt: skip
    [found] = measures(first=DAY, last=DAY, now=NOW).tables
    assert found.ratios.effectiveness == pytest.approx(0.9)
    assert found.planned_share == pytest.approx(0.75)
    assert (found.planned_h, found.with_plan_h) == pytest.approx((2.7, 3.0))
    assert (found.busy_h, found.measured_h) == (5.0, 4.0)


def test_a_shift_counts_as_far_as_it_is_over(week):
    # at 11:00 in Chicago (16:00 UTC): 6:00 to 11:00 without the break
    [found] = measures(first=DAY, last=DAY, now=cast.NOON - timedelta(hours=1)).tables
    assert found.elements.pbt == pytest.approx(4.5)


def test_a_shift_counts_for_the_tables_it_names(week, south):
    """A late shift of 8 h at South alone: North's planned busy time stays 7.2 h."""
    Shift.objects.update(tables=["north"])
    Shift.objects.create(
        name="late", start=time(14), end=time(22), weekdays="1234567", tables=["south"],
        valid_from=date(2026, 1, 1),
    )  # fmt: skip
    found = {one.table: one for one in measures(first=DAY, last=DAY, now=NOW).tables}
    assert found["North"].elements.pbt == pytest.approx(7.2)
    assert found["North"].ratios.availability == pytest.approx(3 / 7.2)
    assert found["South"].elements.pbt == pytest.approx(8.0)


def test_thirteen_weeks_take_as_many_statements_as_one_day(week, north, monkeypatch):
    monkeypatch.setattr(chunks, "CHUNK", 1)
    with CaptureQueriesContext(connection) as of_a_day:
        measures(first=DAY, last=DAY, now=NOW)
    for day in range(1, 4):
        run = cast.run(week.revision, north, start=cast.at(cast.NOON, -90_000 * day))
        RunDay.objects.create(
            run=run, shift_date=DAY - timedelta(days=day), table=north,
            wear_set=cast.wear_set(), arc_s=60.0, elapsed_s=60.0, evidence="measured",
        )  # fmt: skip
    with CaptureQueriesContext(connection) as of_weeks:
        [found] = measures(first=DAY - timedelta(days=90), last=DAY, now=NOW).tables
    assert found.busy_h == pytest.approx(4 + 3 / 60)
    assert len(of_weeks) == len(of_a_day)


def test_dates_the_wrong_way_round_are_refused(shop):
    with pytest.raises(ValueError, match="is after"):
        measures(first=DAY, last=DAY - timedelta(days=1), now=NOW)


def _total(figure):
    """Rows before the total add up to it, in hours or pieces; returns the total."""
    amounts = [float(row.value.split()[0].replace("−", "-")) for row in figure.rows]
    assert sum(amounts[:-1]) == pytest.approx(amounts[-1], abs=0.011 * len(amounts))
    return amounts[-1]


def test_every_element_opens_to_the_runs_stops_and_shifts_it_is_made_of(week, north, time_machine):
    time_machine.move_to(NOW)
    stem = f"{DAY}:{DAY}:{north.pk}"
    wanted = {"apt": 3.0, "aubt": 4.0, "pbt": 7.2, "adet": 0.5, "aust": 0.2, "pq": 20, "gq": 17,
              "sq": 2, "rq": 1, "gp": 3, "ip": 4}  # fmt: skip
    for what, total in wanted.items():
        figure = open_figure(kind="measure", id=f"{stem}:{what}")
        assert _total(figure) == total
    runs = open_figure(kind="measure", id=f"{stem}:apt").rows
    assert [(row.kind, row.id) for row in runs[:-1]] == [("run", str(week.pk))]


def test_every_ratio_opens_to_its_elements(week, north, time_machine):
    time_machine.move_to(NOW)
    stem = f"{DAY}:{DAY}:{north.pk}"
    availability = open_figure(kind="measure", id=f"{stem}:availability")
    assert availability.value == "0.417"  # 3 / 7.2
    assert [row.id for row in availability.rows[:-1]] == [f"{stem}:apt", f"{stem}:pbt"]
    oee = open_figure(kind="measure", id=f"{stem}:oee")
    assert [row.value for row in oee.rows] == ["0.417", "0.900", "0.850", "0.319"]
    for what in MEASURES:
        assert open_figure(kind="measure", id=f"{stem}:{what}").rows
    for odd in ("x", f"{stem}:boss", f"{DAY}:{DAY}:0:apt", f"2026-99-01:{DAY}:{north.pk}:apt"):
        with pytest.raises(LookupError):
            open_figure(kind="measure", id=odd)


def test_the_runs_of_a_figure_come_to_what_the_page_sums(week, operator):
    """Two runs, one of them on two days without a plan: added up and summed by the database."""
    other = cast.run(week.revision, week.table, start=NOW)
    for day in (DAY, DAY + timedelta(days=1)):
        RunDay.objects.create(
            run=other, shift_date=day, table=week.table, wear_set=cast.wear_set(), arc_s=500.0,
            elapsed_s=900.0, entered_s=100.0, unknown_s=50.0, evidence="measured",
        )  # fmt: skip
    line = PartResult.objects.first().line
    PartResult.objects.create(
        run=other, line=line, outcome="scrap", quantity=3, by=operator, at=NOW
    )
    days = DAY, DAY + timedelta(days=6)
    whole = sums_by_table(*days, [week.table_id])[week.table_id]
    assert added(sums_by_run(*days, week.table_id).values()) == whole
    assert (whole.rows, whole.measured_s, whole.parts.scrap) == (3, 14_400 + 2 * 750, 5)


def test_a_figure_that_lists_runs_reads_their_sums_once(week):
    with CaptureQueriesContext(connection) as asked:
        open_figure(kind="measure", id=f"{DAY}:{DAY}:{week.table_id}:pq")
    assert sum('SUM("shopfloor_partresult"' in one["sql"] for one in asked) == 1
