"""Which jobs are late."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from shopfloor.models import Job, JobLine, JobState, PartResult

STATES = (JobState.OPEN, JobState.HELD)


def is_late(now: datetime) -> Q:
    """Of jobs: due before now with parts still owed, held ones too. Owed is line by line: a
    surplus of one part makes up for no other."""
    good = PartResult.objects.filter(line=OuterRef("pk"), outcome="good").order_by()
    made = good.values("line").annotate(total=Sum("quantity")).values("total")
    lines = JobLine.objects.annotate(made=Coalesce(Subquery(made), 0))
    owing = lines.filter(job=OuterRef("pk"), quantity__gt=F("made"))
    return Q(Exists(owing), state__in=STATES, due_at__lt=now)


def is_late_owing(job: Job, owed: int, now: datetime) -> bool:
    """The same of a job whose parts still owed were counted, line by line."""
    return owed > 0 and job.state in STATES and job.due_at is not None and job.due_at < now


def late_jobs(now: datetime) -> QuerySet[Job]:
    return Job.objects.filter(is_late(now))
