"""What runs at a table, and who did what of it."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Case, Count, Exists, F, OuterRef, Q, QuerySet, When

from shopfloor.models import Nest, QueueItem, Run, RunState, Segment, Table
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
    return (
        runs.filter(Q(state=RunState.OPEN) | standing | set_aside | Q(closed_at__gte=at))
        .alias(place=Case(When(state=RunState.OPEN, then=0), When(standing, then=1), default=2))
        .select_related(
            "table",
            "sheet__heat",
            "revision__nest__wear_set",
            "revision__nest__material",
            "queue_item",
        )
        .defer("revision__program")
        .order_by("place", "-opened_at")
        .first()
    )


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
