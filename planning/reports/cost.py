"""What a month cost, and where the difference from the plan came from."""

from __future__ import annotations

from datetime import date

import pandas as pd
from django.db.models import Q, Sum

from planning.reports.cost_parts import (
    Posted,
    hours_frame,
    jobs_frames,
    late_frame,
    metres_frame,
    terms_frame,
    unknown_costs,
)
from planning.reports.frames import coverage_of, currency, frame
from planning.reports.month_runs import month_run_ids, month_runs
from planning.reports.printed import from_print
from planning.reports.run_shares import run_shares
from planning.reports.shapes import CostMonth
from planning.services.postings import next_month
from shopfloor.counting import count
from shopfloor.models import Month, Posting, Run, RunState


def months() -> pd.DataFrame:
    """Every month with postings, newest first: first_day, closed_at, closed_by, amount_minor,
    late_minor (of it, about closed months)."""
    rows = (
        Month.objects.order_by("-first_day")
        .select_related("closed_by")
        .annotate(
            amount=Sum("postings__amount_minor"),
            late=Sum("postings__amount_minor", filter=~Q(postings__belongs_to=None)),
        )
    )
    return frame(
        "first_day closed_at closed_by amount_minor late_minor",
        [
            (
                row.first_day,
                row.closed_at,
                row.closed_by.shown_name if row.closed_by else "",
                row.amount or 0,
                row.late or 0,
            )
            for row in rows
        ],
        **currency(),
    )


def cost_month(*, first_day: date) -> CostMonth:
    """One month. A closed one is read as it was printed; an open one from its postings and from
    the published rows of its runs. Raises `LookupError` for a month nothing is known of."""
    month = Month.objects.filter(first_day=first_day).select_related("closed_by").first()
    if month is None:
        raise LookupError(f"nothing was posted in {first_day:%Y-%m}")
    if month.closed_at is not None and month.printed:
        return from_print(month)
    sums = [
        Posted(*row)
        for row in Posting.objects.filter(month=month)
        .order_by()
        .annotate(late=Q(belongs_to__isnull=False))
        .values_list("line__job_id", "kind", "evidence", "run_id", "late")
        .annotate(all=Sum("amount_minor"))
    ]
    money = currency()
    runs = month_runs(month_run_ids(first_day, next_month(first_day)))
    shares = run_shares(runs)
    coverage = coverage_of(((row.evidence, row.minor) for row in sums), money["currency"])
    jobs, kinds, names = jobs_frames(sums, runs, shares, money, coverage)
    return CostMonth(
        first_day=first_day,
        closed_at=month.closed_at,
        closed_by=month.closed_by.shown_name if month.closed_by else "",
        total_minor=sum(row.minor for row in sums),
        jobs=jobs,
        kinds=kinds,
        terms=terms_frame(runs, shares, names, money),
        metres=metres_frame(sums, runs, money),
        hours=hours_frame(runs),
        late=late_frame(month, money),
        coverage=coverage,
        unknown=(*_going_on(first_day), *unknown_costs(sums, runs)),
    )


def _going_on(first_day: date) -> tuple[str, ...]:
    """Runs begun in the month that are not over: nothing is posted for them yet."""
    begun = Run.objects.filter(
        opened_at__date__gte=first_day, opened_at__date__lt=next_month(first_day)
    )
    runs = begun.exclude(state__in=(RunState.FINISHED, RunState.VOIDED)).count()
    if not runs:
        return ()
    them = "it is" if runs == 1 else "they are"
    verb = "goes" if runs == 1 else "go"
    return (f"{count(runs, 'run')} that {verb} on: time and cost come in once {them} finished",)
