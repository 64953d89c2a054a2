"""Tables as the office sets them up: their figures, what became of them, plans older than they."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import OuterRef, QuerySet, Subquery

from shopfloor.audit.history import Past, history_of
from shopfloor.models import Nest, NestPlan, NestRevision, Table
from shopfloor.site.tables import FIGURES


def tables_list() -> QuerySet[Table]:
    return Table.objects.order_by("-active", "order", "name")


def stale_nests(table: Table) -> QuerySet[Nest]:
    """Nests whose plan on this table is older than the table's figures; `planned` is its time.
    Empty again once the background work has been through them."""
    if table.figures_at is None:
        return Nest.objects.none()
    newest = NestRevision.objects.filter(nest=OuterRef("pk")).order_by("-revision").values("pk")
    plans = NestPlan.objects.filter(revision=OuterRef("newest"), table=table.pk)
    return (
        Nest.objects.filter(withdrawn_at=None)
        .annotate(newest=Subquery(newest[:1]))
        .annotate(planned=Subquery(plans.order_by("computed_at").values("computed_at")[:1]))
        .filter(planned__lt=table.figures_at)
        .order_by("name")
    )


@dataclass(frozen=True, slots=True)
class FigureChange:
    at: datetime
    who: str
    why: str
    changes: tuple[tuple[str, Any, Any], ...]


def table_history(table: Table) -> list[FigureChange]:
    """Changes of the table's figures, newest first."""
    found = [_of_figures(past) for past in reversed(history_of(Table, table.pk))]
    return [change for change in found if change.changes]


def _of_figures(past: Past) -> FigureChange:
    changes = tuple(
        (name, *past.changes[name])
        for name in FIGURES
        if name in past.changes and past.operation == "update"
    )
    return FigureChange(past.at, past.who.removeprefix("user:"), past.why, changes)
