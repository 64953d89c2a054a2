"""Job lists that were brought in."""

from __future__ import annotations

from django.db.models import Count, QuerySet

from shopfloor.models import JobList

MOST = 20


def job_lists() -> QuerySet[JobList]:
    """The latest ones, with how many lines of each are there still."""
    rows = JobList.objects.select_related("by", "undone_by")
    return rows.annotate(line_count=Count("lines"))[:MOST]
