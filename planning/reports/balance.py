"""Fine and fast, planned and burnt, day by day."""

from __future__ import annotations

from datetime import date

import pandas as pd


def balance_days(*, first: date, last: date) -> pd.DataFrame:
    """One row a shift date, table and duty: day, table, duty (fine, fast, unassigned), planned_min,
    burnt_min, runs. Burnt minutes are torch minutes; planned are of the runs begun that day and,
    from today on, of what waits in the queue. Units and coverage in `attrs`."""
    raise NotImplementedError
