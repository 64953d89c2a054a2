"""Sums are worked by hand in `made.month`."""

from __future__ import annotations

from datetime import date

from dashboards.ledgers import cost
from tests.dashboards import made


def test_the_steps_lead_from_plan_to_actual_exactly():
    bridge = cost.bridge(made.month())
    assert bridge.planned_minor == 150_000
    assert [(step.name, step.minor) for step in bridge.steps] == [
        ("Cutting speed", -1_000),
        ("Stoppages", 7_000),
        (cost.REST, 2_000),
        (cost.UNPLANNED, 4_500),
    ]
    assert bridge.planned_minor + sum(step.minor for step in bridge.steps) == 162_500
    assert bridge.actual_minor == 162_500
    assert bridge.over_minor == 12_500


def test_a_step_is_marked_from_one_percent_of_the_plan():
    # 1 % of 1500.00 is 15.00: stoppages at 70.00 and the rest at 20.00, not cutting at -10.00
    marked = {step.name for step in cost.bridge(made.month()).steps if step.off}
    assert marked == {"Stoppages", cost.REST}


def test_work_without_a_plan_adds_no_term():
    names = [step.term for step in cost.bridge(made.month()).steps]
    assert "cutting" in names
    only_c = made.frame(made.TERMS, [(3, "C", "cutting", 60.0, 100)])
    assert [s.term for s in cost.bridge(made.month(terms=only_c)).steps if s.term] == []


def test_a_term_without_a_rate_is_named_and_stays_in_the_rest():
    terms = made.frame(made.TERMS, [(1, "A", "stoppages", 3600.0, None)])
    bridge = cost.bridge(made.month(terms=terms))
    assert bridge.unpriced == ("stoppages",)
    assert [(step.name, step.minor) for step in bridge.steps] == [
        (cost.REST, 8_000),
        (cost.UNPLANNED, 4_500),
    ]


def test_a_run_without_a_plan_and_late_facts_are_steps_of_their_own():
    """80.00 of the difference as before; of B's actual 12.00 were a run without a plan and 5.00
    came late; the shop got 3.00 late of its 5.00. Rest 20 - 12 - 5 = 3; without a plan
    45 + 12 - 3 = 54."""
    jobs = [
        (*made.job("A", 100_000, 110_000, 6.0, 105_000, 1), 0),
        (*made.job("B", 50_000, 48_000, 3.0, None, 2), 1_200),
        (*made.job("C", None, 4_000, 0.5, None, 3), 0),
        (*made.job("the shop", None, 500, 0.5, None, None), 0),
    ]
    late = [
        (date(2026, 9, 1), "B", "wear", 500, "worn", ""),
        (date(2026, 9, 1), "the shop", "wear", 300, "worn", ""),
    ]
    month = made.month(
        jobs=made.frame(made.JOBS + " bare_minor", jobs),
        late=made.frame("belongs_to job kind amount_minor why by", late),
    )
    found = cost.bridge(month)
    steps = {step.name: step.minor for step in found.steps}
    assert (steps[cost.REST], steps[cost.UNPLANNED]) == (300, 5_400)
    assert steps[cost.FOR_CLOSED] == 800
    assert found.planned_minor + sum(steps.values()) == found.actual_minor == 162_500
    row = next(row for row in cost.job_ledger(month).named if row.job == "B")
    assert row.off_minor == 48_000 - 1_200 - 50_000


def test_a_month_without_any_plan_has_one_step():
    jobs = made.frame(made.JOBS, [made.job("C", None, 162_500, 1.0)])
    bridge = cost.bridge(made.month(jobs=jobs))
    assert (bridge.planned_minor, bridge.actual_minor) == (0, 162_500)
    assert [step.name for step in bridge.steps] == [cost.UNPLANNED]
    assert not any(step.off for step in bridge.steps)


def test_the_jobs_that_took_four_fifths_of_the_hours_are_named():
    # 6 + 3 + 0.5 + 0.5 = 10 h; A has 6 (60 %), A and B 9 (90 %): two are needed for 80 %
    ledger = cost.job_ledger(made.month())
    assert [row.job for row in ledger.named] == ["A", "B"]
    assert ledger.share == 0.9
    assert (ledger.rest_jobs, ledger.rest.actual_minor, ledger.rest.plan_minor) == (2, 4_500, None)
    assert ledger.total.actual_minor == 162_500
    assert ledger.total.plan_minor == 150_000


def test_everything_can_be_named():
    ledger = cost.job_ledger(made.month(), everything=True)
    assert [row.job for row in ledger.named] == ["A", "B", "C", "the shop"]
    assert ledger.rest is None


def test_a_job_is_marked_above_five_percent_over_its_plan():
    rows = {row.job: row for row in cost.job_ledger(made.month(), everything=True).named}
    assert (rows["A"].off_minor, rows["A"].off) == (10_000, True)  # 10 %
    assert (rows["B"].off_minor, rows["B"].off) == (-2_000, False)
    assert (rows["C"].off_minor, rows["C"].off) == (None, False)


def test_a_job_exactly_five_percent_over_is_not_marked():
    jobs = made.frame(made.JOBS, [made.job("A", 100_000, 105_000, 1.0)])
    [row] = cost.job_ledger(made.month(jobs=jobs)).named
    assert not row.off


def test_an_empty_month_has_no_share():
    ledger = cost.job_ledger(made.month(jobs=made.frame(made.JOBS, [])))
    assert (ledger.named, ledger.share) == ((), None)


def test_fine_stands_beside_fast_by_the_metre_and_by_the_foot():
    [row] = cost.metres(made.month(), per_foot=False)
    assert (row.minor, row.ratio) == ({"fine": 120.0, "fast": 60.0}, 2.0)
    [foot] = cost.metres(made.month(), per_foot=True)
    # a foot is 0.3048 m: 120 x 0.3048 = 36.576
    assert foot.minor == {"fine": 36.576, "fast": 18.288}


def test_what_was_not_cut_fine_has_no_ratio():
    metres = made.month().metres
    [row] = cost.metres(made.month(metres=metres[metres["duty"] == "fast"]), per_foot=False)
    assert (row.minor["fine"], row.ratio, row.cut_m["fine"]) == (None, None, 0.0)


def test_metres_of_an_unknown_duty_stand_apart():
    metres = made.month().metres.replace({"duty": {"fast": "odd"}})
    [row] = cost.metres(made.month(metres=metres), per_foot=False)
    assert (row.minor, row.ratio) == ({"fine": 120.0, "fast": None, "odd": 60.0}, None)


def test_kinds_are_summed_over_the_jobs():
    # machine 1100 + 400 + 40, wear 80 + 5
    assert cost.kinds(made.month()) == [("machine", 154_000), ("wear", 8_500)]


def test_a_term_is_told_job_by_job_the_dearest_first():
    rows = cost.term_jobs(made.month(), "cutting")
    assert [row["job"] for row in rows] == ["A", "C", "B"]


def test_late_facts_of_one_cause_are_one_row():
    rate, other = "machine rate from 2026-10-28", "worked out again"
    facts = [
        (date(2026, 9, 1), "J-1", "machine", 281, rate, "ann", 7),
        (date(2026, 9, 1), "J-1", "machine", 350, rate, "ann", 7),
        (date(2026, 9, 1), "J-2", "machine", -40, rate, "ann", 8),
        (date(2026, 9, 1), "J-1", "labour", 5, other, "", 7),
    ]
    late = made.frame("belongs_to job kind amount_minor why by job_id", facts)
    found = [
        (row["job"], row["kind"], row["entries"], row["amount_minor"], row["job_id"])
        for row in cost.late(made.month(late=late))
    ]
    assert found == [
        ("J-1", "machine", 2, 631, 7),
        ("J-2", "machine", 1, -40, 8),
        ("J-1", "labour", 1, 5, 7),
    ]


def test_late_facts_printed_before_they_opened_still_show():
    late = made.frame(
        "belongs_to job kind amount_minor why by", [(date(2026, 9, 1), "J-1", "gas", 3, "x", "")]
    )
    [row] = cost.late(made.month(late=late))
    assert (row["amount_minor"], row.get("job_id")) == (3, None)
    assert cost.late(made.month()) == []
