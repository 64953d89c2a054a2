"""What a number on a page was made from: each figure opens to the rows beneath it, down to arcs."""

from __future__ import annotations

from collections.abc import Callable

from planning.reports import (
    trace_day,
    trace_factor,
    trace_job,
    trace_measures,
    trace_money,
    trace_month,
    trace_time,
    trace_today,
)
from planning.reports.shapes import Figure

OPENERS: dict[str, Callable[[str], Figure]] = {
    "posting": trace_money.posting,
    "job": trace_money.job,
    "job_kind": trace_money.job_kind,
    "job_plan": trace_job.plan,
    "job_term": trace_job.term,
    "job_line": trace_money.job_line,
    "job_line_kind": trace_money.job_line_kind,
    "month": trace_month.whole,
    "month_kind": trace_month.kind,
    "month_job": trace_month.job,
    "month_job_kind": trace_month.job_kind,
    "month_term": trace_month.term,
    "month_plate": trace_month.plate,
    "squareness": trace_money.square,
    "day": trace_day.day,
    "shift": trace_today.shift,
    "pace": trace_today.pace,
    "outlook": trace_today.outlook,
    "run": trace_time.run,
    "run_term": trace_time.run_term,
    "plan": trace_time.plan,
    "piece": trace_money.piece,
    "arc": trace_time.arc,
    "measure": trace_measures.measure,
    "factor": trace_factor.factor,
}


def open_figure(*, kind: str, id: str) -> Figure:
    """Kinds: posting, run, run_term ("RUN:TERM"), plan (a nest plan), piece, arc (its key); job,
    job_kind ("JOB:KIND"), job_line ("JOB:LINE"), job_line_kind ("JOB:LINE:KIND"), job_term
    ("JOB:TERM"), job_plan (JOB); month ("2026-10-01") and, after it and a colon, month_kind (KIND),
    month_job (JOB, 0 the shop), month_job_kind (JOB:KIND), month_term (TERM or TERM:JOB),
    month_plate (MATERIAL:MM:DUTY), squareness (JOB); shift, pace, outlook ("TABLE@US", a moment of
    today's page), day ("DATE:WHAT" or "DATE:WHAT:TABLE"); measure
    ("FIRST:LAST:TABLE:WHAT"), factor ("SET:MATERIAL:MM"). Raises `LookupError` for what does not
    exist.
    """
    opener = OPENERS.get(kind)
    if opener is None:
        raise LookupError(f"nothing of kind {kind!r} opens; one of {', '.join(OPENERS)}")
    try:
        return opener(id)
    except (ValueError, OverflowError):  # the ends of the calendar among them
        raise LookupError(f"{kind} {id!r} is not there") from None
