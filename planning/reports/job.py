"""One job: quote, plan, actual, and every posting beneath."""

from __future__ import annotations

from planning.reports.shapes import JobCost


def job_cost(*, job_id: int) -> JobCost:
    """One job over all months. Raises `LookupError` where there is none."""
    raise NotImplementedError
