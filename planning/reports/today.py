"""Each table's shift as it stands."""

from __future__ import annotations

from datetime import datetime

from planning.reports.shapes import Shares, Today


def today(*, now: datetime) -> Today:
    """All active tables in the shift `now` falls in, or the local day outside any shift."""
    raise NotImplementedError


def table_shares(*, table_id: int, start: datetime, end: datetime, now: datetime) -> Shares:
    """Where one table's time in [start, min(end, now)) went."""
    raise NotImplementedError
