"""One job: quote, plan, actual, and every posting beneath."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd
from django.db.models import Sum
from django.utils.translation import gettext as _

from planning.calc.cost import rounded
from planning.reports.frames import coverage_of, currency, frame
from planning.reports.job_plan import planned_costs
from planning.reports.ledger import MATERIAL
from planning.reports.month_runs import MonthRun, month_runs
from planning.reports.run_shares import run_shares
from planning.reports.shapes import Coverage, JobCost
from planning.reports.terms import grouped, items
from shopfloor.models import Job, PartResult, Posting, Run

Shares = Mapping[uuid.UUID, float]


def job_cost(*, job_id: int) -> JobCost:
    """One job over all months, in twelve queries. Raises `LookupError` where there is none."""
    job = Job.objects.filter(pk=job_id).select_related("customer").first()
    if job is None:
        raise LookupError(_("there is no job {job_id}").format(job_id=job_id))
    rows = list(
        Posting.objects.filter(line__job=job)
        .select_related("line", "month", "belongs_to", "piece")
        .defer("month__printed", "belongs_to__printed")
        .order_by("shift_date", "pk")
    )
    money = currency()
    coverage = coverage_of(((row.evidence, row.amount_minor) for row in rows), money["currency"])
    ids = {row.run_id for row in rows if row.run_id is not None}
    runs = month_runs(ids)
    shares = {run: own.get(job.pk, 0.0) for run, own in run_shares(runs).items()}
    actual = sum(row.amount_minor for row in rows)
    kinds, plan_minor = _kinds(rows, runs, shares, money)
    return JobCost(
        job_id=job.pk,
        job=job.number,
        customer=job.customer.name,
        title=job.title,
        quote_minor=job.quote_minor,
        plan_minor=plan_minor,
        actual_minor=actual,
        lines=_lines(job, rows, coverage, money),
        kinds=kinds,
        runs=_runs(rows, runs, shares, money),
        terms=_terms(runs, shares, money),
        postings=_postings(rows, coverage, money),
        coverage=coverage,
        bare_minor=_bare(rows, runs),
    )


def _lines(
    job: Job, rows: list[Posting], coverage: Coverage, money: Mapping[str, Any]
) -> pd.DataFrame:
    amounts: dict[int | None, int] = defaultdict(int)
    for row in rows:
        amounts[row.line_id] += row.amount_minor
    counts = {
        (line, outcome): quantity
        for line, outcome, quantity in PartResult.objects.filter(line__job=job)
        .order_by()
        .values_list("line_id", "outcome")
        .annotate(all=Sum("quantity"))
    }
    found = []
    for line in job.lines.order_by("number"):
        good, minor = counts.get((line.pk, "good"), 0), amounts[line.pk]
        each = rounded(minor / good) if good > 0 else None
        scrap = counts.get((line.pk, "scrap"), 0)
        found.append((line.pk, line.number, line.part, line.quantity, good, scrap, minor, each))
    return frame(
        "line_id number part quantity good scrap amount_minor each_minor",
        found,
        coverage=coverage,
        **money,
    )


def _kinds(
    rows: list[Posting],
    runs: Mapping[uuid.UUID, MonthRun],
    shares: Shares,
    money: Mapping[str, Any],
) -> tuple[pd.DataFrame, int | None]:
    """Plan and actual by line and kind. The plan is of the job as a whole; a line's part of it
    goes by what was posted for the line."""
    actual: dict[tuple[int, int, str], int] = defaultdict(int)
    whole: dict[str, int] = defaultdict(int)
    for row in rows:
        if row.line is not None:
            actual[row.line.pk, row.line.number, row.kind] += row.amount_minor
            whole[row.kind] += row.amount_minor
    plan: dict[str, float] = defaultdict(float)
    compared = planned_costs(runs.values(), shares)
    for run in compared:
        for kind, minor in run.minor.items():
            plan[kind] += minor
    for kind in MATERIAL:
        plan[kind] = float(whole[kind])
    found = []
    for (line, number, kind), minor in sorted(actual.items()):
        planned = None
        if kind in plan and whole[kind]:
            planned = rounded(plan[kind] * minor / whole[kind])
        found.append((line, number, kind, planned, minor))
    return (
        frame("line_id number kind plan_minor actual_minor", found, **money),
        rounded(sum(plan.values())) if compared else None,
    )


def _bare(rows: list[Posting], runs: Mapping[uuid.UUID, MonthRun]) -> int:
    """What runs without a plan cost, their material apart: nothing to hold it against."""
    return sum(
        row.amount_minor
        for row in rows
        if row.kind not in MATERIAL
        and (run := runs.get(row.run_id) if row.run_id else None)
        and not run.compared
    )


def _runs(
    rows: list[Posting],
    runs: Mapping[uuid.UUID, MonthRun],
    shares: Shares,
    money: Mapping[str, Any],
) -> pd.DataFrame:
    """The job's part of each run: its time by its share, its money as posted."""
    amounts: dict[uuid.UUID, int] = defaultdict(int)
    days: dict[uuid.UUID, date] = {}
    for row in rows:
        if row.run_id is not None:
            amounts[row.run_id] += row.amount_minor
            days.setdefault(row.run_id, row.shift_date)
    names = {
        pk: (nest, table)
        for pk, nest, table in Run.objects.filter(pk__in=list(runs)).values_list(
            "pk", "revision__nest__name", "table__name"
        )
    }
    found = []
    for run in sorted(runs.values(), key=lambda run: (days[run.run_id], str(run.run_id))):
        share = shares[run.run_id]
        planned = None if run.planned_s is None else run.planned_s * share
        found.append(
            (
                str(run.run_id),
                *names[run.run_id],
                days[run.run_id],
                planned,
                run.elapsed_s * share,
                amounts[run.run_id],
                run.evidence,
            )
        )
    return frame(
        "run_id nest table shift_date planned_s elapsed_s amount_minor evidence", found, **money
    )


def _terms(
    runs: Mapping[uuid.UUID, MonthRun], shares: Shares, money: Mapping[str, Any]
) -> pd.DataFrame:
    own = items(runs.values(), {run: {None: share} for run, share in shares.items()})
    return frame("term seconds money_minor", grouped(own, lambda item: item.term), **money)


def _postings(rows: list[Posting], coverage: Coverage, money: Mapping[str, Any]) -> pd.DataFrame:
    return frame(
        "posting_id line kind month belongs_to shift_date amount_minor quantity unit cause "
        "evidence why run_id piece",
        [
            (
                row.pk,
                row.line.number if row.line else None,
                row.kind,
                row.month.first_day,
                row.belongs_to.first_day if row.belongs_to else None,
                row.shift_date,
                row.amount_minor,
                row.quantity,
                row.unit,
                row.cause,
                row.evidence,
                row.why,
                str(row.run_id) if row.run_id else "",
                row.piece.label if row.piece else "",
            )
            for row in rows
        ],
        coverage=coverage,
        **money,
    )
