"""What a printed paper says, its number, and whether an old one still holds."""

from __future__ import annotations

import hashlib
import json
import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max, Q
from django.utils.translation import gettext as _

from shopfloor.chart.cut_settings import ON_SETUP_SHEET
from shopfloor.models import Job, JobLine, Nest, NestPlan, NestRevision, Paper, Table, User

TRAVELER, SETUP = "traveler", "setup"
LETTER = {TRAVELER: "t", SETUP: "s"}
CODE = re.compile(r"(?P<of>.+)\.(?P<kind>[ts])(?P<number>[0-9]{1,6})", re.IGNORECASE)


@transaction.atomic
def paper_drawn(
    *,
    kind: str,
    said: str,
    by: User,
    now: datetime,
    job: Job | None = None,
    nest: Nest | None = None,
    table: Table | None = None,
) -> Paper:
    """The paper as it is drawn up now: the one in force where it says the same, else the next
    number, which voids those before it. Repeating it changes nothing."""
    newest = newest_paper(kind, job, nest, table)
    if newest is not None and newest.said_sha256 == said:
        return newest
    last = Paper.objects.filter(kind=kind, job=job, nest=nest).aggregate(last=Max("number"))
    return Paper.objects.create(
        kind=kind,
        job=job,
        nest=nest,
        table=table,
        number=(last["last"] or 0) + 1,
        said_sha256=said,
        made_at=now,
        made_by=by,
    )


def traveler_said(job: Job) -> str:
    """What a traveler tells the floor, hashed. Counts of good parts are not in it: they change
    with every sheet, and no paper is void for that."""
    return travelers_said([job])[job.pk]


def travelers_said(jobs: Sequence[Job]) -> dict[int, str]:
    """`traveler_said` of many jobs by id, in one query."""
    lines: dict[int, list[list[Any]]] = defaultdict(list)
    rows = JobLine.objects.filter(job__in=jobs).order_by("number").values_list(
        "job_id", "number", "part", "material__code", "thickness_text", "quantity",
        "u_range_asked", "must_be_fine", "next_step",
    )  # fmt: skip
    for job_id, *line in rows:
        lines[job_id].append(line)
    found = {}
    for job in jobs:
        due = job.due_at.isoformat() if job.due_at else ""
        found[job.pk] = _hash([job.number, job.title, job.customer_id, due, lines[job.pk]])
    return found


def setup_said(nest: Nest, revision: NestRevision, plan: NestPlan | None) -> str:
    """What a setup sheet tells the floor, hashed: the torch's path, the plate, the set and what to
    dial in. A changed comment in the program changes none of it."""
    chart = plan.snapshot.get("chart", {}) if plan else {}
    figures = [chart.get(each.name) for each in ON_SETUP_SHEET if not each.added_later]
    later = [
        [each.name, chart[each.name]]
        for each in ON_SETUP_SHEET
        if each.added_later and chart.get(each.name) is not None
    ]
    plate = [nest.material_id, nest.thickness_text, nest.wear_set_id]
    return _hash([nest.name, revision.path_sha256, plate, figures, *later])


def paper_code(paper: Paper) -> str:
    """What is printed: K-2284.t2 is the second traveler of job K-2284."""
    return _code(paper_of(paper), paper)


def _code(of: str, paper: Paper) -> str:
    return f"{of}.{LETTER[paper.kind]}{paper.number}"


def paper_read(code: str) -> tuple[str, str]:
    """What a scanned code stands for, and what is wrong with the paper it came from (blank:
    nothing). A code that is no paper's comes back as it is."""
    found = CODE.fullmatch(code.strip())
    paper = _paper(found) if found else None
    if paper is None:
        return code, ""
    return paper_of(paper), paper_void(paper)


def paper_of(paper: Paper) -> str:
    return paper.job.number if paper.job else paper.nest.name if paper.nest else ""


def paper_void(paper: Paper) -> str:
    """Why a paper no longer holds; blank while it does."""
    named = f"{'Traveler' if paper.kind == TRAVELER else 'Setup sheet'} {paper_of(paper)}"
    newest = newest_paper(paper.kind, paper.job, paper.nest, paper.table)
    if newest is not None and newest.number > paper.number:
        return _(
            "{named}: this is number {paper} and void; number {newest} is the "
            "newest. Throw it away and take the newest."
        ).format(named=named, paper=paper.number, newest=newest.number)
    if paper.said_sha256 != said_now(paper):
        return _(
            "{named}, number {paper}, is void: what it says has changed since it was "
            "printed. Print it again."
        ).format(named=named, paper=paper.number)
    return ""


def newest_paper(
    kind: str, job: Job | None, nest: Nest | None, table: Table | None
) -> Paper | None:
    """A setup sheet is counted for its table: what another table has dialled in voids nothing."""
    return Paper.objects.filter(kind=kind, job=job, nest=nest, table=table).first()


def said_now(paper: Paper) -> str:
    if paper.job is not None:
        return traveler_said(paper.job)
    nest = paper.nest
    revision = nest.revisions.defer("program").order_by("-revision").first() if nest else None
    if nest is None or revision is None:
        return ""
    return setup_said(nest, revision, plan_on(nest, revision, paper.table))


def plan_on(nest: Nest, revision: NestRevision, table: Table | None) -> NestPlan | None:
    return revision.plans.filter(table=table, wear_set=nest.wear_set_id).first()


@dataclass(frozen=True, slots=True)
class Place:
    """A nest at its newest revision on a table, with its plan there and the numbers of its jobs."""

    nest: Nest
    revision: NestRevision
    table_id: int
    plan: NestPlan | None
    jobs: tuple[str, ...]


def paper_codes(places: Sequence[Place]) -> list[list[str]]:
    """For each place the codes of papers in force that lead there: its setup sheet, then its jobs'
    travelers. Three queries, however many places."""
    jobs = list(Job.objects.filter(number__in={name for one in places for name in one.jobs}))
    of_job, of_nest = _newest(jobs, places)
    said = travelers_said([job for job in jobs if job.pk in of_job])
    found = []
    for one in places:
        codes = []
        setup = of_nest.get((one.nest.pk, one.table_id))
        if setup and setup.said_sha256 == setup_said(one.nest, one.revision, one.plan):
            codes.append(_code(one.nest.name, setup))
        for job in jobs:
            paper = of_job.get(job.pk)
            if job.number in one.jobs and paper and paper.said_sha256 == said[job.pk]:
                codes.append(_code(job.number, paper))
        found.append(codes)
    return found


def _newest(
    jobs: Iterable[Job], places: Iterable[Place]
) -> tuple[dict[int, Paper], dict[tuple[int, int | None], Paper]]:
    """The newest travelers by job, and the newest setup sheets by nest and table."""
    travelers = Q(kind=TRAVELER, job__in=jobs, nest=None, table=None)
    setups = Q(
        kind=SETUP, job=None, nest__in={one.nest.pk for one in places},
        table__in={one.table_id for one in places},
    )  # fmt: skip
    of_job: dict[int, Paper] = {}
    of_nest: dict[tuple[int, int | None], Paper] = {}
    for paper in Paper.objects.filter(travelers | setups).order_by("number"):
        if paper.job_id is not None:
            of_job[paper.job_id] = paper
        elif paper.nest_id is not None:
            of_nest[paper.nest_id, paper.table_id] = paper
    return of_job, of_nest


def setup_figures(plan: NestPlan | None, user: Any = None) -> list[dict[str, Any]]:
    """What to dial in, as the plan's snapshot has it; a figure the chart lacks is unknown. In
    inches for who reads inches: the paper says the same either way."""
    chart = plan.snapshot.get("chart", {}) if plan else {}
    return [
        {
            "label": each.labelled(user),
            "value": each.exact(chart.get(each.name), user),
        }
        for each in ON_SETUP_SHEET
    ]


def _paper(found: re.Match[str]) -> Paper | None:
    papers = Paper.objects.select_related("job", "nest", "table")
    papers = papers.filter(number=int(found["number"]))
    if found["kind"].lower() == "t":
        return papers.filter(kind=TRAVELER, job__number__iexact=found["of"]).first()
    return papers.filter(kind=SETUP, nest__name__iexact=found["of"]).first()


def _hash(told: list[Any]) -> str:
    return hashlib.sha256(json.dumps(told, default=str).encode()).hexdigest()
