"""A job's plan and the terms of its difference opened, run by run."""

from __future__ import annotations

import uuid

from django.db.models import Sum

from planning.reports.month_runs import MonthRun, month_runs
from planning.reports.month_sums import MATERIAL
from planning.reports.run_shares import run_shares
from planning.reports.shapes import Figure, OpenedRow
from planning.reports.trace_month import run_names, term_rows
from planning.reports.trace_rows import cut_short, evidence_of, minutes, say_money, signed
from shopfloor.models import Job, Posting


def _parts(key: str) -> tuple[Job, list[tuple[MonthRun, float]]]:
    """The job, and the runs it was on with its share of each."""
    job = Job.objects.filter(pk=int(key)).first()
    if job is None:
        raise LookupError(f"there is no job {key}")
    ids: set[uuid.UUID] = set(
        Posting.objects.filter(line__job=job).exclude(run=None).values_list("run_id", flat=True)
    )
    runs = month_runs(ids)
    shares = run_shares(runs)
    return job, [(run, shares[pk].get(job.pk, 0.0)) for pk, run in runs.items()]


def term(id: str) -> Figure:
    """One term of a job's difference over all months ("JOB:TERM")."""
    key, _, code = id.partition(":")
    job, parts = _parts(key)
    own = [
        (run, share, run.terms[code] * share) for run, share in parts if share and code in run.terms
    ]
    if not own:
        raise LookupError(f"no run of job {key} has {code!r} in it")
    rows, total_s, minor = term_rows(own, code)
    how = "time beyond the plan, run by run, at the machine and labour rate of each"
    evidence = evidence_of((run.evidence, abs(over_s)) for run, _, over_s in own)
    facts = {"over_s": total_s, "amount_minor": minor}
    value = signed(minutes(total_s).replace("-", "−"))
    title = f"{code} beyond plan of {job.number}"
    return Figure(title, value, evidence, how, tuple(rows), None, facts)


def plan(id: str) -> Figure:
    """What a job's runs were planned to cost; its material as it was posted."""
    job, parts = _parts(id)
    names, money = run_names(run.run_id for run, _ in parts), say_money()
    each, total = [], 0.0
    for run, share in sorted(parts, key=lambda part: names[part[0].run_id]):
        if not share or not run.compared:
            continue
        minor = sum(run.plan_minor.values()) * share
        total += minor
        note = f"{share * 100:.0f} % of the run" if share < 0.9995 else ""
        label = names[run.run_id][1]
        row = OpenedRow(label, money(round(minor)), "planned", note, "run", str(run.run_id))
        each.append((row, minor))
    rows = cut_short(each, lambda minor: money(round(minor)))
    own = Posting.objects.filter(line__job=job, kind__in=MATERIAL)
    material = own.aggregate(all=Sum("amount_minor"))["all"] or 0
    rows.append(
        OpenedRow("Material and credit", money(material), "", "as posted: a nest plans all else")
    )
    whole = round(total) + material if each else None
    rows.append(OpenedRow("Total", money(whole), total=True))
    how = "what each run's plan says it costs, by the job's share of its time"
    facts = {"amount_minor": whole}
    return Figure(f"Plan of {job.number}", money(whole), "planned", how, tuple(rows), None, facts)
