"""The reports: figures worked by hand, and as many queries as they say."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pandas as pd
import pytest

from planning import reports
from planning.services.line_figures import line_figures
from planning.services.months import month_close
from planning.services.run_figures import run_figures
from shopfloor.models import BenchEntry, NestPlan, PartResult, Posting, QueueItem, Reason
from tests.planning import cast
from tests.planning.said import open_figure

pytestmark = pytest.mark.django_db
OCTOBER = date(2026, 10, 1)


@pytest.fixture
def shop_month(north, operator):
    """Two jobs share a run of 80 min: 60 min of arc, 40 to 20; machine $96/h, labour $30/h.

    machine 128.00: 85.33 and 42.67; labour 40.00: 26.67 and 13.33; bench 12 min at $48/h: 9.60;
    wear two starts at $0.10, by starts and time, 1 + 2400/30 = 81 to 1 + 1200/30 = 41: 0.13, 0.07
    """
    cast.rate("machine", 9600)
    cast.rate("labour", 3000)
    cast.rate("bench", 4800)
    job, [first] = cast.job("J-1", quote_minor=20_000)
    _, [second] = cast.job("J-2", parts=("ring",))
    revision = cast.nest(operator, [(first, 2e6, 2300), (second, 1e6, 1200)])
    plan = cast.plan([2300, 1200], travel_s=10, load_s=600)
    plan["costs_minor"] = {"machine": 11_000, "labour": 3_500}
    run = cast.run(revision, north, seconds=4800, operator=operator, plan=plan)
    cast.arcs(run, [(300, 2700, 1), (2710, 3910, 2)])
    power = Reason.objects.create(code="air", label="air pressure")
    cast.stoppage(run, cast.at(cast.NOON, 4000), 300, reason=power)
    piece = cast.piece("electrode", 1000, 100)
    cast.fitting(piece, north, cast.NOON, by=operator)
    run_figures(key=str(run.pk), payload={})
    PartResult.objects.create(
        run=run, line=first, outcome="good", quantity=1, by=operator, at=cast.NOON
    )
    BenchEntry.objects.create(line=first, kind="dross", minutes=12, at=cast.NOON, by=operator)
    line_figures(key=str(first.pk), payload={})
    return job, first, second, run, piece


def test_a_month_adds_up_to_its_postings(shop_month, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        found = reports.cost_month(first_day=OCTOBER)
    posted = sum(Posting.objects.values_list("amount_minor", flat=True))
    assert found.total_minor == posted == 12_800 + 4_000 + 960 + 20
    assert found.jobs["actual_minor"].sum() == posted
    assert found.kinds["amount_minor"].sum() == posted
    own = found.jobs.set_index("job").loc["J-1"]
    assert own["actual_minor"] == 8_533 + 2_667 + 960 + 13
    assert own["quote_minor"] == 20_000
    assert own["margin_minor"] == 20_000 - own["actual_minor"]
    # planned 3,500 of arc + 20 travel + 600 load = 4,120 s; elapsed 4,800; two thirds are J-1's
    assert own["over_s"] == pytest.approx(680 * 2 / 3, abs=0.1)
    assert any("material" in text for text in found.unknown)
    assert found.coverage.total == posted
    assert found.coverage.unit == "USD"


def test_the_differences_of_a_month_sum_to_what_its_jobs_took_longer(shop_month):
    found = reports.cost_month(first_day=OCTOBER)
    by_job = found.terms.groupby("job")["seconds"].sum()
    over = found.jobs.set_index("job")["over_s"].dropna()
    for name in ("J-1", "J-2"):
        assert by_job[name] == pytest.approx(over[name])
    stopped = found.terms[found.terms["term"] == "stoppages"]
    assert stopped["seconds"].sum() == pytest.approx(300)
    # 300 s at 96 + 30 an hour
    assert stopped["money_minor"].sum() == pytest.approx(1050, abs=1)


def test_a_run_that_goes_on_is_in_no_plan_and_said_to_be_left_out(shop_month, operator):
    """Its plan would stand against nothing: no cost is posted before it is finished."""
    before = reports.cost_month(first_day=OCTOBER)
    revision = cast.nest(operator, [(shop_month[1], 2e6, 2300)], name="N-open")
    plan = cast.plan([2300], travel_s=10, load_s=600)
    plan["costs_minor"] = {"machine": 99_000}
    run = cast.run(revision, shop_month[3].table, seconds=None, state="open", plan=plan)
    cast.arcs(run, [(8000, 8100, 1)])
    run_figures(key=str(run.pk), payload={})
    found = reports.cost_month(first_day=OCTOBER)
    assert found.jobs["plan_minor"].sum() == before.jobs["plan_minor"].sum()
    assert found.hours["hours"].sum() == before.hours["hours"].sum()
    assert "1 run that goes on: time and cost come in once it is finished" in found.unknown


def test_what_a_run_without_a_plan_cost_is_no_difference(shop_month, operator):
    """Ten minutes at $96: 16.00 on J-1, which has a plan for its other run."""
    first, north = shop_month[1], shop_month[3].table
    revision = cast.nest(operator, [(first, 2e6, 500)], name="N-bare")
    start = cast.at(cast.NOON, 9000)
    run = cast.run(revision, north, start=start, seconds=600, plan={})
    cast.arcs(run, [(10, 510, 1)], start=start)
    run_figures(key=str(run.pk), payload={})
    own = reports.cost_month(first_day=OCTOBER).jobs.set_index("job").loc["J-1"]
    posted = Posting.objects.filter(run=run).values_list("amount_minor", flat=True)
    assert own["bare_minor"] == sum(posted) >= 1_600
    assert own["plan_minor"] == pytest.approx(9_667, abs=2)


def test_cost_per_metre_and_where_the_hours_go(shop_month):
    found = reports.cost_month(first_day=OCTOBER)
    [row] = found.metres.to_dict("records")
    # the cast cuts 50 mm a planned second: 3,500 s = 175 m; all but bench, which has no run
    assert row["cut_m"] == pytest.approx(175)
    assert row["amount_minor"] == 12_800 + 4_000 + 20
    assert row["per_m_minor"] == pytest.approx(16_820 / 175)
    assert row["per_ft_minor"] == pytest.approx(16_820 / 175 * 0.3048)
    [hours] = found.hours.to_dict("records")
    assert (hours["hours"], hours["in_80"]) == (pytest.approx(4800 / 3600), True)


def test_a_closed_month_reads_as_it_was_printed(shop_month, owner):
    run = shop_month[3]
    before = reports.cost_month(first_day=OCTOBER)
    month_close(first_day=OCTOBER, by=owner, now=datetime(2026, 11, 3, tzinfo=UTC))
    cast.rate("gas", 6000)
    run_figures(key=str(run.pk), payload={})
    after = reports.cost_month(first_day=OCTOBER)
    assert after.closed_by == "Ann Tiller"
    assert after.total_minor == before.total_minor
    for name in ("jobs", "kinds", "terms", "metres", "hours"):
        one, other = getattr(before, name), getattr(after, name)
        pd.testing.assert_frame_equal(one.astype(object), other.astype(object), check_dtype=False)
    november = reports.cost_month(first_day=date(2026, 11, 1))
    assert set(november.late["kind"]) == {"gas"}
    assert november.late["belongs_to"].tolist() == [OCTOBER, OCTOBER]
    listed = reports.months()
    assert listed["first_day"].tolist() == [date(2026, 11, 1), OCTOBER]
    assert listed["closed_by"].tolist() == ["", "Ann Tiller"]
    assert november.late["amount_minor"].sum() == november.total_minor
    with pytest.raises(LookupError):
        reports.cost_month(first_day=date(2020, 1, 1))


def test_a_job_opens_to_lines_kinds_runs_and_postings(shop_month, django_assert_max_num_queries):
    job = shop_month[0]
    with django_assert_max_num_queries(14):
        found = reports.job_cost(job_id=job.pk)
    assert found.actual_minor == found.postings["amount_minor"].sum() == 12_173
    assert found.kinds["actual_minor"].sum() == 12_173
    assert found.lines["each_minor"].tolist() == [12_173]
    [run] = found.runs.to_dict("records")
    assert run["elapsed_s"] == pytest.approx(3200, abs=0.5)
    # two thirds of 145.00 of plan
    assert found.plan_minor == pytest.approx(9_667, abs=2)
    with pytest.raises(LookupError):
        reports.job_cost(job_id=0)


def test_every_figure_opens(shop_month):
    job, _, _, run, piece = shop_month
    posting = Posting.objects.filter(kind="machine").first()
    wanted = {
        "month_kind": f"{OCTOBER}:machine",
        "job": str(job.pk),
        "job_kind": f"{job.pk}:labour",
        "posting": str(posting.pk),
        "run": str(run.pk),
        "piece": str(piece.pk),
    }
    opened = {kind: open_figure(kind=kind, id=id) for kind, id in wanted.items()}
    assert opened["month_kind"].value == "128.00 USD"
    assert opened["job"].amount == 12_173
    assert opened["run"].value == "80.0 min"
    charged = opened["piece"].rows[-1]
    assert (opened["piece"].amount, charged.amount, charged.note) == (2, 20, "of 10.00 USD")
    for figure in opened.values():
        for row in figure.rows:
            if row.kind and row.kind != "feed":
                assert open_figure(kind=row.kind, id=row.id).title
    for kind in wanted:
        with pytest.raises(LookupError):
            open_figure(kind=kind, id="0")
    with pytest.raises(LookupError, match="nothing of kind"):
        open_figure(kind="colour", id="1")


def test_a_run_shows_its_contours_arcs_and_pieces(shop_month, django_assert_max_num_queries):
    run = shop_month[3]
    with django_assert_max_num_queries(25):
        found = reports.run_detail(run_id=str(run.pk))
    assert found.contours["actual_s"].tolist() == [2400, 1200]
    assert found.contours["job"].tolist() == ["J-1", "J-2"]
    assert found.arcs["seconds"].sum() == 3600
    assert found.pieces["starts"].tolist() == [2]
    assert found.terms["over_s"].sum() == pytest.approx(found.elapsed_s - found.planned_s)
    assert found.lines["amount_minor"].sum() == 12_800 + 4_000 + 20
    with pytest.raises(LookupError):
        reports.run_detail(run_id="nothing")


def test_the_wear_board_knows_ages_and_the_drawer(shop_month, django_assert_max_num_queries):
    with django_assert_max_num_queries(6):
        found = reports.wear_board(now=cast.at(cast.NOON, 5000))
    [row] = found.fitted.to_dict("records")
    assert (row["starts"], row["due"]) == (2, "no")
    # rated 100 and nothing learned yet: about that, with a wide range
    assert row["left_low"] < 50 < row["starts_left"] < 110 < row["left_high"]
    assert row["charged_minor"] == 20
    assert found.drawer["low"].tolist() == [True]
    assert found.history.empty
    assert "price_minor" in found.history.columns


def test_balance_divides_the_days_between_the_duties(shop_month, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        found = reports.balance_days(first=date(2026, 10, 5), last=date(2026, 10, 7))
    [row] = found.to_dict("records")
    assert (row["day"], row["duty"], row["runs"]) == (date(2026, 10, 6), "fast", 1)
    assert row["burnt_min"] == pytest.approx(60)
    assert row["planned_min"] == pytest.approx(3500 / 60)


def test_jobs_today_owes_what_is_not_good(shop_month, django_assert_max_num_queries):
    job = shop_month[0]
    job.due_at = cast.NOON - timedelta(days=1)
    job.save()
    with django_assert_max_num_queries(12):
        found = reports.jobs_today(now=cast.NOON)
    rows = found.set_index("job")
    assert rows.loc["J-1", "shortage"] == 49
    assert bool(rows.loc["J-1", "late"])
    assert not bool(rows.loc["J-2", "late"])


def test_planned_minutes_of_a_job_are_unknown_where_nothing_waits_or_has_a_plan(north, operator):
    """Nothing of J-1 waits. One sheet of J-2 waits without a plan. Of J-3 two wait: one takes
    500 + 100 s (with its load), the other 900: 1,500 s. One of them is J-4's too."""
    lines = {name: cast.job(name)[1][0] for name in ("J-1", "J-2", "J-3", "J-4")}
    for place, (on, total_s, load_s) in enumerate(
        ((("J-2",), None, 0), (("J-3",), 500, 100), (("J-3", "J-4"), 900, 0))
    ):
        revision = cast.nest(operator, [(lines[job], 1e4, 60) for job in on], name=f"W-{place}")
        QueueItem.objects.create(nest=revision.nest, table=north, position=place)
        if total_s is not None:
            NestPlan.objects.create(
                revision=revision, table=north, wear_set=cast.wear_set(), cut_s=total_s,
                pierce_s=0, total_s=total_s, load_s=load_s, computed_at=cast.NOON,
            )  # fmt: skip
    rows = reports.jobs_today(now=cast.NOON).set_index("job")
    assert [int(rows.loc[f"J-{n}", "queued"]) for n in (1, 2, 3, 4)] == [0, 1, 2, 1]
    assert [pd.isna(rows.loc[f"J-{n}", "planned_rest_s"]) for n in (1, 2)] == [True, True]
    assert [rows.loc[f"J-{n}", "planned_rest_s"] for n in (3, 4)] == [1500, 900]


def test_frames_keep_their_columns_and_never_show_nan(north):
    found = reports.jobs_today(now=cast.NOON)
    assert found.empty
    assert "shortage" in found.columns
    from planning.reports.frames import frame, from_records, to_records

    mixed = frame("a_minor b_s word", [(1, None, "x"), (None, 2.5, None)])
    assert mixed["a_minor"][1] is pd.NA
    assert mixed["b_s"][0] is pd.NA
    assert to_records(mixed)["rows"] == [[1, None, "x"], [None, 2.5, None]]
    pd.testing.assert_frame_equal(from_records(to_records(mixed)), mixed)
