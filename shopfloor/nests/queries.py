"""Nests and their plans as the office reads them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from django.db.models import Count, F, IntegerField, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from shopfloor.chart.fit import PlateFit, plates_fitting
from shopfloor.models import (
    Contour,
    Job,
    JobLine,
    JobState,
    Nest,
    NestPlan,
    NestRevision,
    PartPlace,
    QueueItem,
    Run,
    Sheet,
    SheetState,
    Table,
    Work,
)
from shopfloor.nests.part_groups import Group
from shopfloor.nests.parts_made import parts_made
from shopfloor.stock.plate_fit import holds, nest_size_mm, plates_like
from shopfloor.svg.part_outline import part_paths
from shopfloor.svg.parts_map import Part


def nests_list(*, text: str = "", withdrawn: bool = False) -> QuerySet[Nest]:
    """Nests, the newest first. `text` looks in name, parts and jobs."""
    nests = Nest.objects.filter(withdrawn_at__isnull=not withdrawn)
    if text:
        jobs = Job.objects.filter(number__icontains=text)
        lines = JobLine.objects.filter(Q(part__icontains=text) | Q(job__in=jobs.values("pk")))
        # A part's first copy on a sheet speaks for all of them: copies are numbered from 1.
        first = Contour.objects.filter(copy=1)
        tied = first.filter(line__in=lines.values("pk"))
        untied = first.filter(line=None, part__icontains=text)
        nests = nests.filter(
            Q(name__icontains=text) | Q(pk__in=_nests_of(tied)) | Q(pk__in=_nests_of(untied))
        )
    return nests.order_by("-made_at", "-pk")


def _nests_of(contours: QuerySet[Contour]) -> QuerySet[NestRevision, Any]:
    """Each revision once, by an index alone, before it is asked whose it is."""
    revisions = contours.order_by().values("revision")
    return NestRevision.objects.filter(pk__in=revisions).order_by().values("nest")


def nests_shown(keys: Iterable[int]) -> list[Nest]:
    """These nests, in that order, with what their route takes: `total_s`, `problem` and `planned`
    (when) of the newest revision's plan on the chosen table and set, runs so far, parts on a sheet.
    Asked of one page alone: in the list's own statement it would be worked out for every nest."""
    newest = NestRevision.objects.filter(nest=OuterRef("pk")).order_by("-revision")
    plans = NestPlan.objects.filter(
        revision=OuterRef("newest"), table=OuterRef("table"), wear_set=OuterRef("wear_set")
    )
    order = list(keys)
    rows = Nest.objects.select_related("material", "wear_set", "table").annotate(
        newest=Subquery(newest.values("pk")[:1]),
        revision=Subquery(newest.values("revision")[:1]),
        total_s=Subquery(plans.values("total_s")[:1]),
        problem=Subquery(plans.values("problem")[:1]),
        planned=Subquery(plans.values("computed_at")[:1]),
        parts=_counted(Contour.objects.filter(revision=OuterRef("newest"))),
        untied=_counted(Contour.objects.filter(revision=OuterRef("newest"), line=None)),
        run_count=Coalesce(
            Subquery(
                Run.objects.filter(revision__nest=OuterRef("pk"))
                .exclude(state="voided")
                .order_by()
                .values("revision__nest")
                .annotate(total=Count("pk"))
                .values("total")
            ),
            0,
            output_field=IntegerField(),
        ),
    )
    found = rows.in_bulk(order)
    return [found[pk] for pk in order if pk in found]


def _counted(contours: QuerySet[Contour]) -> Coalesce:
    rows = parts_made(contours, "revision").values("made")
    return Coalesce(Subquery(rows), 0, output_field=IntegerField())


def newest_revision(nest: Nest) -> NestRevision | None:
    """The newest revision without its bytes."""
    return nest.revisions.select_related("made_by").defer("program").order_by("-revision").first()


def revision_plans(revision: NestRevision) -> list[NestPlan]:
    """Every plan of a revision, by table and current, whole but for its arcs: planning anew
    deletes the rows, so what a page shows cannot be fetched later."""
    return list(
        revision.plans.select_related("table", "wear_set", "factor")
        .defer("arcs_s")
        .order_by("table__order", "table__name", "wear_set__current_a")
    )


def chosen_plan(nest: Nest, plans: Sequence[NestPlan]) -> NestPlan | None:
    """The plan of the nest's own route; None while it is being made or no table is chosen."""
    for plan in plans:
        if plan.wear_set_id == nest.wear_set_id and plan.table_id == nest.table_id:
            return plan
    return None


def plan_work(revision: NestRevision) -> Work | None:
    """The background work that makes a revision's plan, the newest of it."""
    return Work.objects.filter(kind="nest", key=str(revision.pk)).order_by("-pk").first()


def revision_contours(revision: NestRevision) -> list[Contour]:
    return list(revision.contours.select_related("line__job").order_by("number"))


def map_parts(contours: Sequence[Contour]) -> list[Part]:
    """The parts of a revision for drawing: outline first, then its holes; numbered as cut."""
    members: dict[tuple[int | None, str, int], list[Contour]] = {}
    for contour in contours:
        members.setdefault((contour.line_id, contour.part, contour.copy), []).append(contour)
    found = []
    for (_line, name, copy), part in members.items():
        outline = next((contour for contour in part if not contour.inner), part[0])
        drawn = [outline, *(contour for contour in part if contour is not outline)]
        paths, leads = part_paths(drawn)
        if paths:
            found.append(
                Part(
                    str(outline.number),
                    paths,
                    name=_("{name}, copy {copy}").format(name=name, copy=copy),
                    leads=leads,
                )
            )
    return found


@dataclass(frozen=True, slots=True)
class GroupRow:
    """Copies of one part, and the line or lines they are tied to now."""

    group: Group
    size_mm: tuple[float, float]
    tied: tuple[tuple[JobLine | None, int], ...]
    numbers: str
    mirrored: str = ""  # outlines that are the first one turned over
    known: int | None = None  # the known part it is

    @property
    def copies(self) -> int:
        return self.group.copies


def known_by_contour(revision: NestRevision) -> dict[int, int]:
    """Known parts by the contour of the first copy."""
    return dict(PartPlace.objects.filter(revision=revision).values_list("contour", "part"))


def group_rows(
    groups: Sequence[Group], contours: Sequence[Contour], known: Mapping[int, int] | None = None
) -> list[GroupRow]:
    by_number = {contour.number: contour for contour in contours}
    rows = []
    for group in groups:
        tied: dict[JobLine | None, int] = {}
        for part, made in zip(group.parts, group.made, strict=True):
            line = by_number[part[0]].line
            tied[line] = tied.get(line, 0) + made
        first = by_number[group.parts[0][0]]
        points = first.faces[0] if first.faces else first.points
        rows.append(
            GroupRow(
                group,
                _extent(points),
                tuple(tied.items()),
                _ranges([number for part in group.parts for number in part]),
                _ranges(list(group.mirrored)) if group.mirrored else "",
                (known or {}).get(group.parts[0][0]),
            )
        )
    return rows


def _extent(points: Sequence[Sequence[float]]) -> tuple[float, float]:
    xs, ys = [point[0] for point in points], [point[1] for point in points]
    return (max(xs) - min(xs), max(ys) - min(ys)) if points else (0.0, 0.0)


def _ranges(numbers: Sequence[int]) -> str:
    """1–4, 7, 9–12."""
    ordered = sorted(numbers)
    runs = [[ordered[0]]]
    for before, number in pairwise(ordered):
        if number == before + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


def lines_for(nest: Nest, keep: Sequence[int] = ()) -> QuerySet[JobLine]:
    """Lines a nest's parts may be for: open or held jobs, its material, about its thickness; and
    those in `keep`, which it is tied to already."""
    fits = plates_fitting(nest.material_id, nest.thickness_mm, PlateFit.NEAR) & Q(
        job__state__in=(JobState.OPEN, JobState.HELD)
    )
    return (
        JobLine.objects.filter(fits | Q(pk__in=list(keep)))
        .select_related("job")
        .order_by("job__number", "number")
    )


def sheets_for(nest: Nest, newest: NestRevision | None = None) -> list[Sheet]:
    """Sheets in stock that serve a nest and are not promised elsewhere, the smallest first.
    `newest`: its newest revision, where that was read already."""
    promised = QueueItem.objects.filter(
        state__in=("waiting", "running"), sheet__isnull=False
    ).values("sheet")
    sheets = (
        Sheet.objects.filter(plates_like(nest), state=SheetState.IN_STOCK)
        .exclude(pk__in=promised)
        .select_related("heat", "owner")
        .order_by("area_mm2", "code")
    )
    size = nest_size_mm(newest or newest_revision(nest))
    return [one for one in sheets if size is None or holds(one, size)]


MOST_RUNS = 50


def nest_runs(nest: Nest) -> list[Run]:
    """The newest runs of every revision, newest first, with good and scrap parts."""
    return list(
        Run.objects.filter(revision__nest=nest)
        .select_related("table", "sheet", "revision", "variance")
        .defer("plan", "revision__program")
        .annotate(
            good=Coalesce(Sum("results__quantity", filter=Q(results__outcome="good")), 0),
            scrap=Coalesce(Sum("results__quantity", filter=Q(results__outcome="scrap")), 0),
        )
        .order_by("-opened_at")[:MOST_RUNS]
    )


def queue_by_table() -> list[Table]:
    """Active tables, each with `waiting`: its queue in order, what runs first. An item carries
    `planned_s`, what it takes with loading (None: not planned), and `job_due_at`, when the first
    of its jobs is due."""
    newest = NestRevision.objects.filter(nest=OuterRef("nest")).order_by("-revision")
    plans = NestPlan.objects.filter(
        revision=OuterRef("newest"), table=OuterRef("table"), wear_set=OuterRef("nest__wear_set")
    ).annotate(all_s=F("total_s") + Coalesce(F("load_s"), 0.0))
    dues = Contour.objects.filter(
        revision=OuterRef("newest"), line__job__due_at__isnull=False
    ).order_by("line__job__due_at")
    items = (
        QueueItem.objects.filter(state__in=("running", "waiting"))
        .select_related("nest__material", "nest__wear_set", "sheet__heat")
        .annotate(newest=Subquery(newest.values("pk")[:1]))
        .annotate(
            planned_s=Subquery(plans.values("all_s")[:1]),
            job_due_at=Subquery(dues.values("line__job__due_at")[:1]),
        )
        .order_by("state", "position", "pk")
    )
    return list(
        Table.objects.filter(active=True).prefetch_related(
            Prefetch("queue", queryset=items, to_attr="waiting")
        )
    )


def queue_sums(tables: Sequence[Table]) -> list[tuple[Table, float, int]]:
    """Each table with the seconds its queue takes as planned, and how many items that leaves out
    for want of a plan."""
    planned = [[item.planned_s for item in table.waiting] for table in tables]  # type: ignore[attr-defined]
    return [
        (table, sum(one for one in each if one is not None), each.count(None))
        for table, each in zip(tables, planned, strict=True)
    ]
