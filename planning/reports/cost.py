"""What a month cost, and where the difference from the plan came from."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pandas as pd
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.dates import MONTH, dated
from planning.reports.cost_parts import (
    hours_frame,
    jobs_frames,
    late_frame,
    metres_frame,
    terms_frame,
    unknown_costs,
)
from planning.reports.frames import coverage_of, currency, frame
from planning.reports.month_runs import month_run_ids, month_runs
from planning.reports.month_sums import month_sums
from planning.reports.printed import from_print
from planning.reports.run_shares import run_shares
from planning.reports.shapes import CostMonth
from planning.reports.summaries import kept_month
from planning.services.postings import next_month
from shopfloor.models import Month, Run, RunState
from shopfloor.site.calendar import day_span
from shopfloor.site.queries import shop_zone
from telemetry.read_once import read_once


def months() -> pd.DataFrame:
    """Every month with postings, newest first: first_day, closed_at, closed_by. What was printed
    of them is not read."""
    rows = Month.objects.order_by("-first_day").select_related("closed_by").defer("printed")
    return frame(
        "first_day closed_at closed_by",
        [
            (row.first_day, row.closed_at, row.closed_by.shown_name if row.closed_by else "")
            for row in rows
        ],
    )


@read_once()
def cost_month(*, first_day: date) -> CostMonth:
    """One month. A closed one is read as it was printed, an open one as it was kept where nothing
    has changed since. Raises `LookupError` for a month nothing is known of."""
    month = Month.objects.filter(first_day=first_day).select_related("closed_by").first()
    if month is None:
        raise LookupError(
            _("nothing was posted in {first_day}").format(first_day=dated(first_day, MONTH))
        )
    if month.closed_at is not None and month.printed:
        return from_print(month, month.printed)
    kept = kept_month(first_day) if month.closed_at is None else None
    return from_print(month, kept) if kept else month_now(month)


def month_now(month: Month) -> CostMonth:
    """A month worked out from its postings and from the published rows of its runs."""
    first_day = month.first_day
    ids = month_run_ids(first_day, next_month(first_day))
    runs = month_runs(ids)
    shares = run_shares(runs, ids)
    sums = month_sums(month, runs)
    money = currency()
    coverage = coverage_of(((row.evidence, row.minor) for row in sums.posted), money["currency"])
    jobs, kinds, names = jobs_frames(sums, runs, shares, money, coverage)
    return CostMonth(
        first_day=first_day,
        closed_at=month.closed_at,
        closed_by=month.closed_by.shown_name if month.closed_by else "",
        total_minor=sum(row.minor for row in sums.posted),
        jobs=jobs,
        kinds=kinds,
        terms=terms_frame(runs, shares, names, money),
        metres=metres_frame(sums, runs, money),
        hours=hours_frame(sums, runs),
        late=late_frame(month, money),
        coverage=coverage,
        unknown=(*_going_on(first_day), *unknown_costs(sums, runs)),
    )


def unfinished_runs(*, first_day: date) -> int:
    """Runs begun before the month's end, in it or before, that are neither finished nor voided."""
    after, _end = day_span(next_month(first_day), ZoneInfo(shop_zone()))
    return Run.objects.filter(
        state__in=(RunState.OPEN, RunState.STOPPED), opened_at__lt=after
    ).count()


def _going_on(first_day: date) -> tuple[str, ...]:
    """Runs that are not over: nothing is posted for them yet."""
    runs = unfinished_runs(first_day=first_day)
    if not runs:
        return ()
    going = ngettext(
        "{runs:,} run that goes on: time and cost come in once it is finished",
        "{runs:,} runs that go on: time and cost come in once they are finished",
        runs,
    )
    return (going.format(runs=runs),)
