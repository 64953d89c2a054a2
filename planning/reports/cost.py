"""What a month cost, and where the difference from the plan came from."""

from __future__ import annotations

from datetime import date

import pandas as pd

from planning.reports.shapes import CostMonth


def months() -> pd.DataFrame:
    """Every month with postings, newest first: first_day, closed_at, closed_by, amount_minor,
    late_minor (of it, about closed months)."""
    raise NotImplementedError


def cost_month(*, first_day: date) -> CostMonth:
    """One month. Raises `LookupError` for a month nothing is known of."""
    raise NotImplementedError
