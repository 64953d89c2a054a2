"""What a job's runs were planned to cost, its material as posted. The job page and the opened plan
are sums over the same items."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import NamedTuple

from django.utils.translation import gettext as _

from planning.calc.said import said
from planning.reports.figure import Figure, Part, Ref, shortened, whole
from planning.reports.ledger import MATERIAL, read
from planning.reports.month_runs import MonthRun
from planning.reports.run_names import run_names
from planning.reports.run_shares import run_shares
from planning.reports.terms import job_of, runs_of, share_note
from shopfloor.wording.quantity import money

RULE = said("what each run's plan says it costs, by the job's share of its time")


class Planned(NamedTuple):
    """A job's share of what one run's plan costs, by kind in minor units."""

    run_id: uuid.UUID
    share: float
    minor: dict[str, float]


def planned_costs(runs: Iterable[MonthRun], shares: Mapping[uuid.UUID, float]) -> list[Planned]:
    """Runs that have a plan, of which the job has a share."""
    return [
        Planned(run.run_id, share, {kind: minor * share for kind, minor in run.plan_minor.items()})
        for run in runs
        if run.compared and (share := shares[run.run_id])
    ]


def opened(key: str) -> Figure:
    job = job_of(key)
    runs = runs_of(job)
    shares = {run: own.get(job.pk, 0.0) for run, own in run_shares(runs).items()}
    rows = planned_costs(runs.values(), shares)
    names = run_names(row.run_id for row in rows)
    parts = [
        Part(
            names[row.run_id][1],
            money(sum(row.minor.values()), "planned"),
            Ref("run", str(row.run_id)),
            share_note(row.share),
        )
        for row in sorted(rows, key=lambda row: names[row.run_id])
    ]
    posted = sum(minor for *_keys, minor in read([], line__job=job, kind__in=MATERIAL))
    material = Part(
        _("Material and credit"), money(posted), None, (_("as posted: a nest plans all else"),)
    )
    total = money(whole([*parts, material], money(0)).number if parts else None)
    return Figure(
        Ref("job_plan", str(job.pk)),
        _("Plan of {job}").format(job=job.number),
        replace(total, evidence="planned"),
        RULE,
        (*shortened(parts), material, Part(_("Total"), total, total=True)),
        page=Ref("job_cost", str(job.pk)),
    )
