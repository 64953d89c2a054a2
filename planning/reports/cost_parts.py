"""The frames of a month's cost."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

import pandas as pd
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.cost import rounded
from planning.reports.frames import frame
from planning.reports.ledger import MATERIAL
from planning.reports.month_runs import MonthRun
from planning.reports.month_sums import MonthSums
from planning.reports.plates import by_plate
from planning.reports.terms import grouped, items
from shopfloor.models import Job, Month, Posting
from shopfloor.wording.counts import count
from shopfloor.wording.quantity import Coverage

Runs = Mapping[uuid.UUID, MonthRun]
Shares = Mapping[uuid.UUID, Mapping[int | None, float]]

SHOP = N_("the shop")


def jobs_frames(
    sums: MonthSums, runs: Runs, shares: Shares, money: Mapping[str, Any], coverage: Coverage
) -> tuple[pd.DataFrame, pd.DataFrame, dict[int | None, str]]:
    """`CostMonth.jobs` and `.kinds`, and the jobs' numbers. A job's plan has its material as it
    was posted: the nest plans everything else. What a run without a plan cost, its material apart,
    is in `bare_minor`."""
    by_kind: dict[int | None, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    evidence: dict[int | None, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    materials: dict[int | None, int] = defaultdict(int)
    for row in sums.posted:
        by_kind[row.job][row.kind] += row.minor
        evidence[row.job][row.evidence] += abs(row.minor)
        if row.kind in MATERIAL:
            materials[row.job] += 0 if row.late else row.minor
    planned_s, elapsed_s, plan = _by_job(runs, shares)
    ids = set(by_kind) | set(elapsed_s)
    jobs = {
        job.pk: job
        for job in Job.objects.filter(pk__in=[i for i in ids if i]).select_related("customer")
    }
    names = {pk: job.number for pk, job in jobs.items()} | {None: _(SHOP)}
    rows, kinds = [], []
    for pk in sorted(ids, key=lambda pk: (pk is None, names[pk])):
        job = jobs.get(pk) if pk else None
        actual = sum(by_kind[pk].values())
        quote = job.quote_minor if job else None
        planned = planned_s.get(pk)
        rows.append(
            (
                pk,
                names[pk],
                job.customer.name if job else "",
                job.title if job else _("starts and wear that belong to no job"),
                quote,
                rounded(plan[pk]) + materials[pk] if pk in plan else None,
                actual,
                None if quote is None else quote - actual,
                planned,
                elapsed_s.get(pk, 0.0),
                None if planned is None else elapsed_s.get(pk, 0.0) - planned,
                max(evidence[pk], key=lambda word: evidence[pk][word], default="unknown"),
                sums.bare.get(pk, 0) if pk in plan else 0,
            )
        )
        kinds += [(pk, names[pk], kind, minor) for kind, minor in by_kind[pk].items() if minor]
    columns = (
        "job_id job customer title quote_minor plan_minor actual_minor margin_minor "
        "planned_s elapsed_s over_s evidence bare_minor"
    )
    return (
        frame(columns, rows, coverage=coverage, **money),
        frame("job_id job kind amount_minor", kinds, coverage=coverage, **money),
        names,
    )


def _by_job(
    runs: Runs, shares: Shares
) -> tuple[dict[int | None, float], dict[int | None, float], dict[int | None, float]]:
    """Planned and elapsed seconds and planned money by job. Elapsed without a plan is left out of
    none of them but the plan: a job's plan is None only where no run of it had one."""
    planned: dict[int | None, float] = {}
    elapsed: dict[int | None, float] = defaultdict(float)
    money: dict[int | None, float] = {}
    for run in runs.values():
        for job, share in shares[run.run_id].items():
            elapsed[job] += run.elapsed_s * share
            if run.planned_s is not None:
                planned[job] = planned.get(job, 0.0) + run.planned_s * share
            if run.compared:
                money[job] = money.get(job, 0.0) + sum(run.plan_minor.values()) * share
    return planned, dict(elapsed), money


def terms_frame(
    runs: Runs, shares: Shares, names: Mapping[int | None, str], money: Mapping[str, Any]
) -> pd.DataFrame:
    """Seconds of each job's difference by term, and what they cost at machine and labour rates
    (None where a run had no rate)."""
    sums = grouped(items(runs.values(), shares), lambda item: (item.job, item.term))
    rows = [
        (job, names.get(job, _(SHOP)), term, over_s, minor) for (job, term), over_s, minor in sums
    ]
    measured = sum(run.elapsed_s for run in runs.values() if run.evidence == "measured")
    entered = sum(run.elapsed_s for run in runs.values() if run.evidence != "measured")
    return frame(
        "job_id job term seconds money_minor",
        rows,
        coverage=Coverage(measured=measured, entered=entered),
        **money,
    )


def metres_frame(sums: MonthSums, runs: Runs, money: Mapping[str, Any]) -> pd.DataFrame:
    """Cost per metre and per foot of cut by material, thickness and duty, material apart."""
    rows = [
        (*plate, cut.cut_mm / 1000, cut.minor, cut.per_m_minor, cut.per_ft_minor, cut.priced)
        for plate, cut in sorted(by_plate(runs.values(), sums.spent).items())
        if cut.priced
    ]
    return frame(
        "material thickness_mm duty cut_m amount_minor per_m_minor per_ft_minor runs",
        rows,
        **money,
    )


def hours_frame(sums: MonthSums, runs: Runs) -> pd.DataFrame:
    """Where the hours go, largest first; `in_80` marks the fewest that make up 80 % of them."""
    plates = by_plate(runs.values(), sums.spent)
    hours = {plate: cut.elapsed_s / 3600 for plate, cut in plates.items()}
    whole = sum(hours.values())
    rows, running = [], 0.0
    for key, value in sorted(hours.items(), key=lambda item: (-item[1], item[0])):
        inside = whole > 0 and running < 0.8 * whole
        running += value
        share = value / whole if whole else None
        rows.append((*key, value, share, running / whole if whole else None, inside))
    return frame("material thickness_mm duty hours share running_share in_80", rows)


def late_frame(month: Month, money: Mapping[str, Any]) -> pd.DataFrame:
    """Facts about closed months that came late, posted here."""
    rows = (
        Posting.objects.filter(month=month)
        .exclude(belongs_to=None)
        .order_by("made_at", "pk")
        .values_list(
            "belongs_to__first_day",
            "line__job__number",
            "kind",
            "amount_minor",
            "why",
            "by__username",
            "line__job",
        )
    )
    return frame(
        "belongs_to job kind amount_minor why by job_id",
        [
            (day, job or _(SHOP), kind, minor, why, by or "", job_id or 0)
            for day, job, kind, minor, why, by, job_id in rows
        ],
        **money,
    )


def unknown_costs(sums: MonthSums, runs: Runs) -> tuple[str, ...]:
    """What of the month has no amount, in words."""
    bare = [
        run
        for run in runs.values()
        if not run.customers_sheet and run.run_id not in sums.with_material
    ]
    found = []
    if bare:
        found.append(
            _("material of {runs}: no sheet was named, or its cost is not known").format(
                runs=count(len(bare), "{n} run", "{n} runs")
            )
        )
    posted = {row.kind for row in sums.posted}
    for kind in ("machine", "labour", "gas", "energy"):
        if runs and kind not in posted:
            found.append(
                _("{kind}: no rate is set, or nothing to calculate it from").format(kind=kind)
            )
    unplanned = sum(run.planned_s is None for run in runs.values())
    if unplanned:
        them = "it" if unplanned == 1 else "them"
        found.append(
            _("plan of {runs}: no difference can be shown for {them}").format(
                runs=count(unplanned, "{n} run", "{n} runs"), them=them
            )
        )
    return tuple(found)
