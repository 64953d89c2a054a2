"""What the screen at a table asks of a run and of the entries made there."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import QuerySet

from shopfloor.models import (
    Action,
    ActionState,
    Check,
    Reason,
    Run,
    Segment,
    Terminal,
)
from shopfloor.quality.queries import FIRST_PIECE_DONE


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
