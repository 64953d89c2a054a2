"""What a number on a page was made from: each figure opens to the rows beneath it, down to arcs."""

from __future__ import annotations

from collections.abc import Callable

from planning.reports import trace_money, trace_time
from planning.reports.shapes import Figure

OPENERS: dict[str, Callable[[str], Figure]] = {
    "posting": trace_money.posting,
    "job": trace_money.job,
    "job_kind": trace_money.job_kind,
    "month_kind": trace_money.month_kind,
    "squareness": trace_money.square,
    "run": trace_time.run,
    "run_term": trace_time.run_term,
    "plan": trace_time.plan,
    "piece": trace_money.piece,
    "arc": trace_time.arc,
}


def open_figure(*, kind: str, id: str) -> Figure:
    """Kinds: posting, run, run_term ("RUN:TERM"), job, job_kind ("JOB:KIND"), month_kind
    ("2026-10-01:KIND"), squareness ("2026-10-01:JOB"), plan (a nest plan), piece, arc (its key).
    Raises `LookupError` for what does not exist."""
    opener = OPENERS.get(kind)
    if opener is None:
        raise LookupError(f"nothing of kind {kind!r} opens; one of {', '.join(OPENERS)}")
    try:
        return opener(id)
    except ValueError:
        raise LookupError(f"{kind} {id!r} is not there") from None
