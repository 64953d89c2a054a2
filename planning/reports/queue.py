"""What waits on each table, with its published plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from planning.inputs.chunks import chunked
from shopfloor.models import Contour, NestPlan, NestRevision, QueueItem


@dataclass(frozen=True, slots=True)
class Queued:
    """`arc_s` and `total_s` (with load and unload) are None where there is no plan; `why` then
    says why. `arcs_s` are left out unless asked for."""

    item_id: int
    table_id: int
    nest_id: int
    nest: str
    revision_id: int | None
    wear_set: str
    duty: str
    due_at: datetime | None
    arc_s: float | None
    total_s: float | None
    arcs_s: tuple[float, ...]
    why: str
    jobs: tuple[str, ...]


def queue_plans(*, tables: Sequence[int] | None = None, arcs: bool = False) -> list[Queued]:
    """Waiting items in their order, in four queries."""
    items = QueueItem.objects.filter(state="waiting").select_related("nest__wear_set")
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
            lambda some: NestPlan.objects.filter(revision__in=some).defer(
                "snapshot", *(() if arcs else ("arcs_s",))
            ),
        )
    }
    jobs = _jobs(revisions)
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
                nest=row.nest.name,
                revision_id=revision,
                wear_set=str(row.nest.wear_set),
                duty=row.nest.wear_set.duty,
                due_at=row.due_at,
                arc_s=(plan.cut_s or 0.0) + (plan.pierce_s or 0.0) if plan and known else None,
                total_s=(plan.total_s or 0.0) + (plan.load_s or 0.0) if plan and known else None,
                arcs_s=tuple(plan.arcs_s) if plan and arcs and known else (),
                why=plan.problem if plan else "no plan yet",
                jobs=jobs.get(revision or 0, ()),
            )
        )
    return found


def _jobs(revisions: Sequence[int]) -> dict[int, tuple[str, ...]]:
    rows = chunked(
        revisions,
        lambda some: (
            Contour.objects.filter(revision__in=some)
            .exclude(line=None)
            .order_by("line__job__number")
            .values_list("revision_id", "line__job__number")
            .distinct()
        ),
    )
    jobs: dict[int, list[str]] = {}
    for revision, number in rows:
        jobs.setdefault(revision, []).append(number)
    return {revision: tuple(own) for revision, own in jobs.items()}
