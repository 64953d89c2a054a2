"""What a number on a page was made from."""

from __future__ import annotations

from planning.reports.shapes import Figure


def open_figure(*, kind: str, id: str) -> Figure:
    """Kinds: posting, run, run_term ("RUN:TERM"), job, job_kind ("JOB:KIND"), month_kind
    ("2026-10-01:KIND"), plan, piece, arc. Raises `LookupError` for what does not exist."""
    raise NotImplementedError
