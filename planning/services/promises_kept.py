"""The worker's part of what the page of promises shows: drawn again where a record has changed, and
every few minutes, because time passes."""

from __future__ import annotations

import time
from datetime import datetime, timedelta
from typing import Final

from planning.reports.promise import board
from planning.reports.promise_kept import KIND, drawn_from, kept, shown_of, to_body
from shopfloor.models import Summary

SOONEST: Final = timedelta(seconds=8)
ANEW: Final = timedelta(minutes=3)
SHARE: Final = 20  # a drawing that took a second is not made again for so many


def promises_due(*, now: datetime) -> bool:
    """Draws again where what is kept is old; a few statements where it is not. True where it drew.
    A clock that was set back is no reason to wait."""
    row = Summary.objects.filter(kind=KIND, key="").values("computed_at", "body__took_s").first()
    if row is not None and row["computed_at"] is not None:
        age = now - row["computed_at"]
        pause = max(SOONEST, timedelta(seconds=SHARE * (row["body__took_s"] or 0.0)))
        if timedelta(0) <= age < pause or (age < ANEW and kept(now)):
            return False
    promises_keep(now=now)
    return True


def promises_keep(*, now: datetime) -> None:
    """Draws all lists and keeps what the page shows of them. Harmless to repeat: what changes
    meanwhile is not in `drawn_from`, or leaves `wanted` ahead of `version`."""
    began = time.thread_time()
    row, _ = Summary.objects.get_or_create(kind=KIND, key="")
    of = drawn_from()
    body = to_body(shown_of(board(now)), of)
    took_s = time.thread_time() - began
    Summary.objects.filter(pk=row.pk).update(
        version=row.wanted, body=body | {"took_s": round(took_s, 3)}, computed_at=now
    )
