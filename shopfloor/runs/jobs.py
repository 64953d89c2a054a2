"""Jobs as the office reads them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Count, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from shopfloor.chart.duties import square_words
from shopfloor.models import (
    Contour,
    Job,
    JobLine,
    JobState,
    Nest,
    PartResult,
    Posting,
    PostingKind,
    Run,
    Segment,
)
from shopfloor.nests.parts_made import parts_made
from shopfloor.runs.part_counts import line_counts


def jobs_list(*, text: str = "", state: str = JobState.OPEN) -> QuerySet[Job]:
    """Jobs by due time, those without one last. Each carries `wanted`, `good` and `scrap` parts
    and how many lines it has. `state` blank: all. `text` looks in number, title, customer, part."""
    jobs = Job.objects.select_related("customer")
    if state:
        jobs = jobs.filter(state=state)
    if text:
        jobs = jobs.filter(
            Q(number__icontains=text)
            | Q(title__icontains=text)
            | Q(customer__name__icontains=text)
            | Q(pk__in=JobLine.objects.filter(part__icontains=text).values("job"))
        )
    return jobs.annotate(
        line_count=_per_job(JobLine.objects.all(), "job", Count("pk")),
        wanted=_per_job(JobLine.objects.all(), "job", Sum("quantity")),
        good=_per_job(PartResult.objects.filter(outcome="good"), "line__job", Sum("quantity")),
        scrap=_per_job(PartResult.objects.filter(outcome="scrap"), "line__job", Sum("quantity")),
    ).order_by(F("due_at").asc(nulls_last=True), "number")


def jobs_total(jobs: QuerySet[Job]) -> dict[str, int]:
    """Lines and parts of all the jobs of a `jobs_list` together, on whatever page they stand."""
    names = "line_count", "wanted", "good", "scrap"
    found = jobs.order_by().aggregate(**{f"all_{name}": Sum(name) for name in names})
    return {name: found[f"all_{name}"] or 0 for name in names}


def _per_job(rows: QuerySet[Any], path: str, total: Count | Sum) -> Coalesce:
    summed = rows.filter(**{path: OuterRef("pk")}).order_by().values(path).annotate(total=total)
    return Coalesce(Subquery(summed.values("total")), 0, output_field=IntegerField())


@dataclass(slots=True)
class LineStands:
    """One line and where it stands. `nested` counts copies on current nests, `short` is what is
    still owed after scrap."""

    line: JobLine
    good: int = 0
    good_low: int = 0  # differs from good_high while a sheet has two counts
    good_high: int = 0
    scrap: int = 0
    rework: int = 0
    nested: int = 0
    bench_min: float = 0.0
    nests: dict[int, NestShare] = field(default_factory=dict)

    @property
    def short(self) -> int:
        return max(0, self.line.quantity - self.good)

    @property
    def good_words(self) -> str:
        """Good parts, both counts where a sheet has two."""
        if self.good_low == self.good_high:
            return str(self.good)
        return f"{self.good_low}–{self.good_high}"

    @property
    def edge_words(self) -> str:
        """What is asked of the edge: a range of ISO 9013, a duty that cuts square, or none."""
        if self.line.u_range_asked:
            return _("range {u_range_asked}").format(u_range_asked=self.line.u_range_asked)
        return square_words() if self.line.must_be_fine else _("none")

    @property
    def short_words(self) -> str:
        low = max(0, self.line.quantity - self.good_high)
        high = max(0, self.line.quantity - self.good_low)
        return str(self.short) if low == high else f"{low}–{high}"


@dataclass(slots=True)
class NestShare:
    """A nest that cuts a line: copies on one sheet, and its runs."""

    nest: Nest
    copies: int = 0
    runs: list[RunShare] = field(default_factory=list)


@dataclass(slots=True)
class RunShare:
    """One run seen from a line: what it gave."""

    run: Run
    good: int = 0
    scrap: int = 0
    operators: list[str] = field(default_factory=list)


def job_lines(job: Job) -> list[LineStands]:
    """Every line with its parts, nests and runs; a fixed number of queries whatever the size."""
    lines = {
        line.pk: LineStands(line)
        for line in job.lines.select_related("material").annotate(bench_sum=Sum("bench__minutes"))
    }
    for stands in lines.values():
        stands.bench_min = getattr(stands.line, "bench_sum", None) or 0.0
    _count_results(lines, PartResult.objects.filter(line__job=job))
    for line_id, count in line_counts(lines).items():
        lines[line_id].good_low, lines[line_id].good_high = count.good_low, count.good_high
    runs = _count_nests(lines, job)
    _attach_runs(lines, job, runs)
    return list(lines.values())


def _count_results(lines: dict[int, LineStands], results: QuerySet[PartResult]) -> None:
    for line_id, outcome, quantity in (
        results.order_by().values_list("line_id", "outcome").annotate(total=Sum("quantity"))
    ):
        if outcome in ("good", "scrap", "rework"):
            setattr(lines[line_id], outcome, quantity)


def _count_nests(lines: dict[int, LineStands], job: Job) -> dict[int, set[int]]:
    """Copies by nest from each nest's newest revision; returns the line ids of each revision."""
    of_revision: dict[int, set[int]] = defaultdict(set)
    newest: dict[int, int] = {}
    own = Contour.objects.filter(line__job=job)
    rows = parts_made(own, "line_id", "revision_id", "revision__nest_id").order_by(
        "revision__revision"
    )
    copies: dict[tuple[int, int], tuple[int, int]] = {}
    for line_id, revision_id, nest_id, count in rows:
        of_revision[revision_id].add(line_id)
        newest[nest_id] = revision_id
        copies[line_id, nest_id] = (revision_id, count)
    nests = Nest.objects.select_related("table", "wear_set").in_bulk(list(newest))
    for (line_id, nest_id), (revision_id, count) in copies.items():
        nest = nests[nest_id]
        current = revision_id == newest[nest_id] and nest.withdrawn_at is None
        lines[line_id].nests[nest_id] = NestShare(nest, count if current else 0)
        lines[line_id].nested += count * nest.sheets_wanted if current else 0
    return of_revision


def _attach_runs(lines: dict[int, LineStands], job: Job, of_revision: dict[int, set[int]]) -> None:
    runs = list(
        Run.objects.filter(revision__in=list(of_revision))
        .select_related("table", "sheet__heat", "revision")
        .defer("plan", "revision__program")
        .order_by("opened_at")
    )
    gave: dict[tuple[int, object], dict[str, int]] = defaultdict(dict)
    for line_id, run_id, outcome, total in (
        PartResult.objects.filter(line__job=job)
        .order_by()
        .values_list("line_id", "run_id", "outcome")
        .annotate(total=Sum("quantity"))
    ):
        gave[line_id, run_id][outcome] = total
    for run in runs:
        for line_id in of_revision[run.revision_id]:
            parts = gave[line_id, run.pk]
            share = lines[line_id].nests[run.revision.nest_id]
            share.runs.append(RunShare(run, parts.get("good", 0), parts.get("scrap", 0)))


@dataclass(frozen=True, slots=True)
class JobCosts:
    """What was posted on a job: by line (in line order) and kind, in minor units."""

    kinds: list[tuple[str, str]]
    rows: list[tuple[JobLine, list[int | None], int]]
    totals: list[tuple[str, int]]  # with the key that opens each figure, "JOB:KIND"
    total: int
    latest: datetime | None

    @property
    def empty(self) -> bool:
        return not self.kinds


def job_costs(job: Job, lines: Sequence[JobLine]) -> JobCosts:
    """From postings alone, so it agrees with closed months."""
    sums: dict[tuple[int, str], int] = {}
    latest: datetime | None = None
    for line_id, kind, amount, made_at in Posting.objects.filter(line__job=job).values_list(
        "line_id", "kind", "amount_minor", "made_at"
    ):
        sums[line_id, kind] = sums.get((line_id, kind), 0) + amount
        latest = made_at if latest is None else max(latest, made_at)
    used = {kind for _, kind in sums}
    kinds = [(str(kind), str(label)) for kind, label in PostingKind.choices if kind in used]
    rows = [
        (
            line,
            [sums.get((line.pk, kind)) for kind, _ in kinds],
            sum(sums.get((line.pk, kind), 0) for kind, _ in kinds),
        )
        for line in lines
    ]
    totals = [
        (f"{job.pk}:{kind}", sum(sums.get((line.pk, kind), 0) for line in lines))
        for kind, _ in kinds
    ]
    return JobCosts(kinds, rows, totals, sum(amount for _, amount in totals), latest)


def job_heats(job: Job) -> list[tuple[str, int, int]]:
    """Heat number, its id, good parts of this job cut from it."""
    rows = (
        PartResult.objects.filter(line__job=job, outcome="good", run__sheet__heat__isnull=False)
        .values_list("run__sheet__heat__number", "run__sheet__heat_id")
        .annotate(parts=Sum("quantity"))
        .order_by("run__sheet__heat__number")
    )
    return [(number, pk, parts) for number, pk, parts in rows if parts]


def job_heat_unknown(job: Job, heats: list[tuple[str, int, int]]) -> int:
    """Good parts of this job whose heat nobody knows."""
    good = PartResult.objects.filter(line__job=job, outcome="good").aggregate(all=Sum("quantity"))
    return (good["all"] or 0) - sum(parts for _, _, parts in heats)


def job_last_segments(job: Job) -> QuerySet[Segment]:
    """Stretches being cut now for this job."""
    return (
        Segment.objects.filter(
            ended_at=None,
            run__revision__in=Contour.objects.filter(line__job=job).values("revision"),
        )
        .select_related("run__table", "run__revision__nest")
        .defer("run__plan", "run__revision__program")
    )
