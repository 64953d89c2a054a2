"""Open work to make promises of: a Monday, one shift a day, jobs of one part a sheet."""

from __future__ import annotations

from datetime import UTC, datetime

from planning.calc.cost import PLAN_KINDS
from planning.reports.promise import board
from shopfloor.models import (
    NestPlan,
    QueueItem,
)
from tests.planning import cast

NOW = datetime(2026, 10, 5, 13, tzinfo=UTC)  # Monday 08:00 in Chicago
HOUR = 3600.0


def planned(revision, *tables, total_s=HOUR, the_set=None, costs=None):
    for table in tables:
        NestPlan.objects.create(
            revision=revision, table=table, wear_set=the_set or cast.wear_set(), total_s=total_s,
            load_s=0.0, computed_at=NOW, costs_minor=(costs or {}).get(table.code, {}),
        )  # fmt: skip


def costs(**more):
    return dict.fromkeys(PLAN_KINDS, 10) | more


def work(operator, *tables, number="J-1", sheets=1, due=None, listed=None, total_s=HOUR):
    """A job of one part a sheet; its sheets wait on `listed`, or on no list."""
    job, [line] = cast.job(number, quantity=sheets, due_at=due)
    revision = cast.nest(operator, [(line, 1e4, 100)], name=f"N-{number}")
    revision.nest.sheets_wanted = sheets
    revision.nest.save()
    planned(revision, *tables, total_s=total_s)
    last = QueueItem.objects.count()
    for place in range(last, last + sheets if listed else 0):
        QueueItem.objects.create(nest=revision.nest, table=listed, position=place)
    return job


def chance_of(job):
    return next(one for one in board(NOW).jobs if one.pk == job.pk)
