"""What runs at a table, and who did what of it."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.db.models import Case, Count, Exists, F, OuterRef, Q, QuerySet, When

from shopfloor.models import (
    Action,
    ActionState,
    Check,
    Nest,
    QueueItem,
    Reason,
    Run,
    RunState,
    Segment,
    Table,
    Terminal,
)
from shopfloor.quality.queries import FIRST_PIECE_DONE
from shopfloor.runs.matching_input import ASSIGNED, UNDONE


def current_run(table: Table, at: datetime) -> Run | None:
    """The run at a table at a time: the open one, else one stopped there and not set aside (nobody
    ended its last segment), else one that was closed or set aside after `at`."""
    waiting = Exists(Segment.objects.filter(run=OuterRef("pk"), end_reason=""))
    standing = Q(state=RunState.STOPPED) & waiting
    then = Segment.objects.filter(run=OuterRef("pk"), started_at__lte=at, ended_at__gt=at)
    set_aside = Q(state=RunState.STOPPED) & Exists(then.exclude(end_reason__in=(UNDONE, ASSIGNED)))
    runs = table.runs.filter(opened_at__lte=at).exclude(state=RunState.VOIDED)
    # One question: between two, somebody may press "cutting again", and neither would find it.
    found = (
        runs.filter(Q(state=RunState.OPEN) | standing | set_aside | Q(closed_at__gte=at))
        .alias(place=Case(When(state=RunState.OPEN, then=0), When(standing, then=1), default=2))
        .select_related(
            "sheet__heat",
            "revision__nest__wear_set",
            "revision__nest__material",
            "queue_item",
        )
        .defer("revision__program")
        .order_by("place", "-opened_at")
        .first()
    )
    if found is not None:
        found.table = table
    return found


def runs_set_aside() -> QuerySet[Run]:
    """Half burnt sheets that were taken off: stopped runs whose every segment was ended. One that
    was made from its arcs and has them all waits for its count, not for the rest."""
    found = Segment.objects.filter(run=OuterRef("pk"), end_reason=ASSIGNED)
    whole = found.annotate(count=Count("run__revision__contours")).filter(
        last_contour__gte=F("count")
    )
    stopped = Run.objects.filter(state=RunState.STOPPED).exclude(segments__end_reason="")
    return stopped.exclude(Exists(whole))


def set_aside_run(*, item: QueueItem | None, nest: Nest, table: Table) -> Run | None:
    """The run a start carries on: that of the queue's item, or one of this nest here that came
    from no list."""
    runs = runs_set_aside().select_related("sheet__heat", "revision").defer("revision__program")
    if item is not None and item.pk:
        found = runs.filter(queue_item=item)
    else:
        found = runs.filter(queue_item=None, table=table, revision__nest=nest)
    return found.order_by("-opened_at").first()


def recent_actions(*, terminal: Terminal, limit: int = 5) -> list[Action]:
    """The last entries of a terminal, newest first."""
    rows = Action.objects.filter(terminal=terminal).select_related("person")
    return list(rows.order_by("-received_at")[:limit])


def open_conflicts() -> QuerySet[Action]:
    """Entries that say otherwise than the books, oldest first."""
    rows = Action.objects.filter(state=ActionState.CONFLICT)
    return rows.select_related("person", "terminal").order_by("received_at")


def stop_reasons() -> list[Reason]:
    return list(Reason.objects.filter(active=True))


def left_s(run: Run, done: Collection[int], planned: int, first: int) -> float | None:
    """Seconds of plan not burnt yet: the arcs of contours not done, and the plan's other time in
    their proportion. A contour that burns counts as done. None where the plan does not say.
    `first`: the first contour on this run's sheet."""
    arcs_s, total_s = run.plan.get("arcs_s"), run.plan.get("total_s")
    if not arcs_s or total_s is None or len(arcs_s) != planned:
        return None
    missing = [index for index in range(first - 1, planned) if index + 1 not in done]
    between_s = max(total_s - sum(arcs_s), 0.0)
    return float(sum(arcs_s[index] for index in missing) + between_s * len(missing) / planned)


def last_segment(run: Run) -> Segment | None:
    """The one that cuts now, else that cut last, with its set and operator."""
    rows = run.segments.select_related("operator", "wear_set")
    return rows.order_by("-started_at", "-pk").first()


def first_piece_needed(run: Run, segment: Segment | None) -> bool:
    """Until a first piece of this run, or of this revision by anyone before, was done. For those
    whose first pieces take a second signature: until one of this run was. `segment`: the run's
    last."""
    if segment is not None and segment.operator and segment.operator.needs_countersign:
        return not run.checks.filter(FIRST_PIECE_DONE).exists()
    return not Check.objects.filter(FIRST_PIECE_DONE, run__revision=run.revision_id).exists()
