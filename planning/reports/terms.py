"""The terms of a difference between plan and run, run by run and job by job. Month page, job page
and the opened term are sums over the same items."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import NamedTuple, TypeVar

from django.utils.translation import gettext as _

from planning.calc.cost import rounded
from planning.calc.dates import MONTH, dated
from planning.calc.said import said
from planning.reports.figure import Figure, Part, Ref, whole, with_total
from planning.reports.ledger import month_of, owner_of
from planning.reports.month_runs import MonthRun, month_run_ids, month_runs, month_terms
from planning.reports.run_names import run_names
from planning.reports.run_shares import run_shares
from planning.services.postings import next_month
from shopfloor.models import Job, Month, Posting, Run
from shopfloor.wording.quantity import Quantity, Remark, Unit, money, seconds

K = TypeVar("K", bound=Hashable)
Shares = Mapping[uuid.UUID, Mapping[int | None, float]]
RULE = said("time beyond the plan, run by run, at the machine and labour rate of each")


def as_printed(rule: str) -> str:
    """The rule of a figure of a closed month."""
    return said(
        "{rule}; worked out now, while the page shows the month as it was closed", rule=rule
    )


class Item(NamedTuple):
    """A job's share of one term of one run. `minor` is what its time costs, None without a rate."""

    run_id: uuid.UUID
    job: int | None
    term: str
    share: float
    over_s: float
    minor: float | None
    evidence: str


def items(runs: Iterable[MonthRun], shares: Shares) -> list[Item]:
    found = []
    for run in runs:
        for job, share in shares[run.run_id].items():
            for term, over_s in run.terms.items() if share else ():
                own_s = over_s * share
                rate = run.minor_per_hour
                minor = None if rate is None else own_s * rate / 3600
                found.append(Item(run.run_id, job, term, share, own_s, minor, run.evidence))
    return found


def grouped(rows: Iterable[Item], by: Callable[[Item], K]) -> list[tuple[K, float, int | None]]:
    """By key: seconds and their cost in minor units (None where a run has no rate), the most
    seconds first."""
    groups: dict[K, list[Item]] = defaultdict(list)
    for row in rows:
        groups[by(row)].append(row)
    sums = [(key, sum(row.over_s for row in own), _cost(own)) for key, own in groups.items()]
    return sorted(sums, key=lambda each: -abs(each[1]))


def _cost(rows: Iterable[Item]) -> int | None:
    known = [row.minor for row in rows]
    return None if None in known else rounded(sum(minor for minor in known if minor is not None))


def of_month(key: str) -> Figure:
    """A term of a month's difference ("2026-10-01:TERM"); of one job where the key names it."""
    day, term, *of = key.split(":")
    month = month_of(day)
    ids, pk = run_ids(month), None
    label = _("{term} beyond plan in {month}").format(
        term=term, month=dated(month.first_day, MONTH)
    )
    if of:
        pk, name = owner_of(of[0])
        label = f"{label}, {name}"
        ids = ids if pk is None else list(set(ids) & _runs_with(pk))
    runs = month_terms(ids, term)
    shares: Shares = run_shares(runs) if of else {run: {None: 1.0} for run in runs}
    own = [row for row in items(runs.values(), shares) if (row.term, row.job) == (term, pk)]
    if not own:
        raise LookupError(_("no run of {day} has {term!r} in it").format(day=day, term=term))
    rule = as_printed(RULE) if month.closed_at else RULE
    return _figure(Ref("month_term", key), label, rule, own, Ref("cost", day[:7]))


def of_job(key: str) -> Figure:
    """A term of a job's difference over all months ("JOB:TERM")."""
    pk, _sep, term = key.partition(":")
    job = job_of(pk)
    runs = runs_of(job)
    rows = items(runs.values(), run_shares(runs))
    own = [row for row in rows if (row.term, row.job) == (term, job.pk)]
    if not own:
        raise LookupError(_("no run of job {job} has {term!r} in it").format(job=pk, term=term))
    label = _("{term} beyond plan of {job}").format(term=term, job=job.number)
    own_page = Ref("job_cost", str(job.pk))
    return _figure(Ref("job_term", f"{job.pk}:{term}"), label, RULE, own, own_page)


def _figure(ref: Ref, label: str, rule: str, rows: list[Item], page: Ref) -> Figure:
    names = run_names(row.run_id for row in rows)
    parts = [
        _part(row, names[row.run_id][1]) for row in sorted(rows, key=lambda row: names[row.run_id])
    ]
    total = whole(parts, seconds(0, change=True))
    cost = Remark("{}", (money(_cost(rows), change=True),))
    return Figure(ref, label, total, rule, with_total(parts, total, cost), page=page)


def _part(row: Item, name: str) -> Part:
    ref = Ref("run_term", f"{row.run_id}:{row.term}")
    cost = () if row.minor is None else (Remark("{}", (money(row.minor, change=True),)),)
    notes = (*cost, *share_note(row.share))
    return Part(name, seconds(row.over_s, row.evidence, change=True), ref, notes)


def share_note(share: float) -> tuple[Remark, ...]:
    """How much of a run is the job's, where it is not all."""
    if share >= 0.9995:
        return ()
    return (Remark("{} of the run", (Quantity(share * 100, Unit.PERCENT),)),)


def run_ids(month: Month) -> list[uuid.UUID]:
    """Their ids come first: of a month named by a query PostgreSQL expects a thirtieth of its runs,
    and reads all there ever were instead of looking those up."""
    return list(month_run_ids(month.first_day, next_month(month.first_day)))


def _runs_with(job: int) -> set[uuid.UUID]:
    """All runs that `run_shares` may give the job a share of."""
    posted = Posting.objects.filter(line__job=job).exclude(run=None)
    cut = Run.objects.filter(revision__contours__line__job=job)
    return {*posted.values_list("run_id", flat=True), *cut.values_list("pk", flat=True).distinct()}


def job_of(key: str) -> Job:
    job = Job.objects.filter(pk=int(key)).first()
    if job is None:
        raise LookupError(f"there is no job {key}")
    return job


def runs_of(job: Job) -> dict[uuid.UUID, MonthRun]:
    """The runs that something was posted of for a job."""
    ids = Posting.objects.filter(line__job=job).exclude(run=None).values_list("run_id", flat=True)
    return month_runs(set(ids))
