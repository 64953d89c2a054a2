"""Reports that were worked out in the background, read as they were kept."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import F

from shopfloor.models import Job, Summary

MONTH = "month"


def kept_month(first_day: date) -> dict[str, Any] | None:
    """What was kept of an open month; None where there is none or something has changed since. Its
    jobs are called and quoted as they are now."""
    kept = kept_body(first_day)
    if kept is not None:
        _rename(kept["frames"])
    return kept


def kept_body(first_day: date) -> dict[str, Any] | None:
    """The same, its jobs in the month's own frames as they were called when it was worked out."""
    row = (
        Summary.objects.filter(kind=MONTH, key=first_day.isoformat(), version=F("wanted"))
        .exclude(body=None)
        .first()
    )
    kept: dict[str, Any] | None = row.body if row else None
    return kept


def _rename(frames: dict[str, Any]) -> None:
    names = frames["jobs"]["columns"].split()
    ids = [row[0] for row in frames["jobs"]["rows"] if row[0] is not None]
    fields = "number", "customer__name", "title", "quote_minor"
    rows = Job.objects.filter(pk__in=ids).values_list("pk", *fields)
    jobs = {pk: tuple(own) for pk, *own in rows}
    for row in frames["jobs"]["rows"]:
        job = jobs.get(row[0])
        if job is None:
            continue
        now = dict(zip(names, row, strict=True))
        number, customer, title, quote = job
        now |= {
            "job": number,
            "customer": customer,
            "title": title,
            "quote_minor": quote,
            "margin_minor": None if quote is None else quote - now["actual_minor"],
        }
        row[:] = now.values()
    for frame in (frames["kinds"], frames["terms"]):
        for row in frame["rows"]:
            if row[0] in jobs:
                row[1] = jobs[row[0]][0]
