"""Numbering papers by what they say."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Max

from shopfloor.models import Job, Nest, Paper, Table, User
from shopfloor.nests.paper_queries import newest_paper


@transaction.atomic
def paper_drawn(
    *,
    kind: str,
    said: str,
    by: User,
    now: datetime,
    job: Job | None = None,
    nest: Nest | None = None,
    table: Table | None = None,
) -> Paper:
    """The paper as it is drawn up now: the one in force where it says the same, else the next
    number, which voids those before it. Repeating it changes nothing."""
    newest = newest_paper(kind, job, nest, table)
    if newest is not None and newest.said_sha256 == said:
        return newest
    last = Paper.objects.filter(kind=kind, job=job, nest=nest).aggregate(last=Max("number"))
    return Paper.objects.create(
        kind=kind,
        job=job,
        nest=nest,
        table=table,
        number=(last["last"] or 0) + 1,
        said_sha256=said,
        made_at=now,
        made_by=by,
    )
