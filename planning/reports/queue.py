"""What waits on each table, with its published plan."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, F, OuterRef, QuerySet
from django.utils.translation import gettext as _

from planning.inputs.chunks import chunked
from planning.inputs.stored_time import cell_of
from shopfloor.models import Contour, NestPlan, NestRevision, QueueItem
from shopfloor.nests.waiting import waiting_items
from shopfloor.nests.warnings import refusal_of

COLUMNS = (
    "table", "due_at", "nest__name", "nest__material", "nest__thickness_mm", "nest__wear_set__code",
    "nest__wear_set__duty", "nest__wear_set__current_a",
)  # fmt: skip

PLANNED = (
    "revision", "table", "wear_set", "cut_s", "pierce_s", "total_s", "load_s", "pierces", "problem"
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Queued:
    """`arc_s`, `cut_s` (first arc to last) and `total_s` (with load and unload) are None where
    there is no plan; `why` then says why. `due_at` is the item's own, else its first job's.
    `arcs_s` only where asked for."""

    item_id: int
    table_id: int
    nest_id: int
    cell: tuple[object, ...]  # `cell_of`: what its run will differ from plan with
    wear_set_id: int
    nest: str
    revision_id: int | None
    wear_set: str
    duty: str
    due_at: datetime | None
    arc_s: float | None
    cut_s: float | None
    total_s: float | None
    arcs_s: tuple[float, ...]
    why: str
    jobs: tuple[str, ...]
    starts: int | None = None


def queue_plans(
    *, tables: Sequence[int] | None = None, arcs: bool = False, jobs: bool = True
) -> list[Queued]:
    """Waiting items in their order, in four queries; one more where a plan has a problem. Without
    `jobs` neither these are named nor when the first of them is due."""
    items = waiting_items().select_related("nest__wear_set").only(*COLUMNS)
    if tables is not None:
        items = items.filter(table__in=tables)
    rows = list(items.order_by("table", "position", "pk"))
    nests = sorted({row.nest_id for row in rows})
    newest: dict[int, int] = {}
    for nest, revision in chunked(
        nests,
        lambda some: (
            NestRevision.objects.filter(nest__in=some)
            .order_by("revision")
            .values_list("nest_id", "pk")
        ),
    ):
        newest[nest] = revision
    revisions = sorted(newest.values())
    plans = {
        (plan.revision_id, plan.table_id, plan.wear_set_id): plan
        for plan in chunked(
            revisions,
            lambda some: _routes(some).only(*PLANNED, *(("arcs_s",) if arcs else ())),
        )
    }
    why = _problems(plans.values())
    named, due = _jobs(revisions if jobs else [])
    found = []
    for row in rows:
        revision = newest.get(row.nest_id)
        plan = plans.get((revision or 0, row.table_id, row.nest.wear_set_id))
        known = plan is not None and plan.total_s is not None
        found.append(
            Queued(
                item_id=row.pk,
                table_id=row.table_id,
                nest_id=row.nest_id,
                cell=cell_of(row.nest.wear_set_id, row.nest.material_id, row.nest.thickness_mm),
                wear_set_id=row.nest.wear_set_id,
                nest=row.nest.name,
                revision_id=revision,
                wear_set=str(row.nest.wear_set),
                duty=row.nest.wear_set.duty,
                due_at=row.due_at or due.get(revision or 0),
                arc_s=(plan.cut_s or 0.0) + (plan.pierce_s or 0.0) if plan and known else None,
                cut_s=plan.total_s if plan and known else None,
                total_s=(plan.total_s or 0.0) + (plan.load_s or 0.0) if plan and known else None,
                arcs_s=tuple(plan.arcs_s) if plan and arcs and known else (),
                why=why[plan.pk] if plan else _("no plan yet"),
                jobs=named.get(revision or 0, ()),
                starts=plan.pierces if plan and known else None,
            )
        )
    return found


def _routes(revisions: Sequence[int]) -> QuerySet[NestPlan]:
    """Their plans on the tables they wait at, with their own set: one of dozens each."""
    waits = QueueItem.objects.filter(
        nest=OuterRef("revision__nest"), table=OuterRef("table"), state="waiting"
    )
    return NestPlan.objects.filter(
        Exists(waits), revision__in=revisions, wear_set=F("revision__nest__wear_set")
    )


def _problems(plans: Iterable[NestPlan]) -> dict[int, str]:
    """Why there is no figure, by plan, with its lengths for any reader; blank where there is one.
    Only a plan with a problem has its snapshot read: the others' are large."""
    why = {plan.pk: plan.problem for plan in plans}
    wrong = sorted(pk for pk, text in why.items() if text)
    rows = chunked(
        wrong, lambda some: NestPlan.objects.filter(pk__in=some).only("snapshot", "problem")
    )
    return why | {row.pk: refusal_of(row) for row in rows}


def _jobs(revisions: Sequence[int]) -> tuple[dict[int, tuple[str, ...]], dict[int, datetime]]:
    """The jobs on each revision, and when the first of them is due."""
    rows = chunked(
        revisions,
        lambda some: (
            Contour.objects.filter(revision__in=some)
            .exclude(line=None)
            .order_by("line__job__number")
            .values_list("revision_id", "line__job__number", "line__job__due_at")
            .distinct()
        ),
    )
    jobs: dict[int, list[str]] = {}
    due: dict[int, datetime] = {}
    for revision, number, due_at in rows:
        jobs.setdefault(revision, []).append(number)
        if due_at is not None:
            due[revision] = min(due_at, due.get(revision, due_at))
    return {revision: tuple(own) for revision, own in jobs.items()}, due
