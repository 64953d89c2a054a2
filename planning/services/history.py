"""All figures of a shop whose records were loaded at once: plans, runs, pieces, closed months."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from planning.services.bulk import recompute_all
from planning.services.drawing_plan import drawing_revision_plan
from planning.services.factor_summary import factors_write
from planning.services.months import month_close
from planning.services.nest_plan import revision_plan
from planning.services.summaries import month_write
from planning.services.table_time import table_time_write
from shopfloor.models import DrawingRevision, Month, NestRevision, Table, User, Work
from shopfloor.site.queries import shift_date_of


@transaction.atomic
def plan_all(*, now: datetime) -> int:
    """Plans every revision on every table with every set, and what each drawing's part would
    take; returns how many revisions."""
    revisions = list(NestRevision.objects.select_related("nest__material"))
    for revision in revisions:
        revision_plan(revision=revision, now=now)
    for drawn in DrawingRevision.objects.select_related("drawing__material"):
        drawing_revision_plan(revision=drawn, now=now)
    return len(revisions)


def figures_of_history(*, closed_by: str, now: datetime) -> dict[str, int]:
    """Figures all runs and pieces, then closes every month before this one as the person named
    would have. Says how many of each it did."""
    done = recompute_all(now=now)
    Work.objects.filter(state="waiting").delete()
    person = User.objects.get(username=closed_by)
    months = Month.objects.filter(
        first_day__lt=shift_date_of(now).replace(day=1), closed_at=None
    ).order_by("first_day")
    for month in months:
        month_close(first_day=month.first_day, by=person, now=now)
    for first_day in Month.objects.filter(closed_at=None).values_list("first_day", flat=True):
        month_write(key=first_day.isoformat(), payload={})
    factors_write(key="learn", payload={})
    for table in Table.objects.filter(active=True).values_list("pk", flat=True):
        table_time_write(key=str(table), payload={})
    return {**done, "months": len(months)}
