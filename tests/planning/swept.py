"""Today after the sweep has looked for what wants a hand."""

from __future__ import annotations

from datetime import datetime

from planning import reports
from planning.reports.shapes import Today
from planning.services.notes import notes_sweep


def today_swept(*, now: datetime) -> Today:
    notes_sweep(now=now)
    return reports.today(now=now)
