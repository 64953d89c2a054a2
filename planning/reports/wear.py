"""Torches, pieces, what is left in them and in the drawer."""

from __future__ import annotations

from datetime import datetime

from planning.reports.shapes import WearBoard


def wear_board(*, now: datetime) -> WearBoard:
    """Every piece fitted or shelved, the drawer, and the last 200 that came out for good."""
    raise NotImplementedError
