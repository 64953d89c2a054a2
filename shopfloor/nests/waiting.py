"""What waits on the tables' lists."""

from __future__ import annotations

from django.db.models import QuerySet

from shopfloor.models import QueueItem, Table


def waiting_items() -> QuerySet[QueueItem]:
    """Table by table: that is how an index finds the few that wait among all there ever were."""
    tables = Table.objects.order_by().values("pk")
    return QueueItem.objects.filter(table__in=tables, state="waiting")
