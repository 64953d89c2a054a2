"""Jobs that are due, running or late."""

from __future__ import annotations

from datetime import datetime

import pandas as pd


def jobs_today(*, now: datetime) -> pd.DataFrame:
    """Open jobs by due date: job_id, job, customer, title, due_at, state, ordered, good, scrap,
    shortage, planned_rest_s, running (bool), late (bool), hold_reason."""
    raise NotImplementedError
