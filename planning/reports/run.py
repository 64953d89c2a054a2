"""One run down to its contours and arcs."""

from __future__ import annotations

from planning.reports.shapes import RunDetail


def run_detail(*, run_id: str) -> RunDetail:
    """Raises `LookupError` where there is no such run."""
    raise NotImplementedError
