"""Background work as administrators look at it."""

from __future__ import annotations

from django.db.models import Q, QuerySet
from django.db.models.aggregates import Count

from shopfloor.models import Work


def backlog() -> tuple[int, int]:
    """How many rows wait or run, and how many were set aside as failed."""
    found = Work.objects.aggregate(
        waiting=Count("pk", filter=Q(state__in=("waiting", "running"))),
        failed=Count("pk", filter=Q(state="failed")),
    )
    return found["waiting"], found["failed"]


def work_failed() -> QuerySet[Work]:
    """What was set aside, the newest first."""
    return Work.objects.filter(state="failed").order_by("-wanted_at", "-pk")


def work_waiting() -> QuerySet[Work]:
    """What is not done yet, in the order it will be."""
    return Work.objects.filter(state__in=("waiting", "running")).order_by("wanted_at", "pk")
