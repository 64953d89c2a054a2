"""A month as it was kept: every figure, nothing worked out again."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from datetime import date
from typing import Any

from planning.reports.frames import currency, from_records, to_records
from planning.reports.shapes import CostMonth, Coverage
from shopfloor.models import Month

FRAMES = ("jobs", "kinds", "terms", "metres", "hours", "late")


def to_print(month: CostMonth) -> dict[str, Any]:
    """The month's report as JSON values."""
    kept = {
        name: to_records(getattr(month, name))
        | {"coverage": dataclasses.asdict(getattr(month, name).attrs["coverage"])}
        for name in FRAMES
    }
    return {
        "frames": kept,
        "total_minor": month.total_minor,
        "coverage": dataclasses.asdict(month.coverage),
        "unknown": list(month.unknown),
    }


def from_print(month: Month, kept: Mapping[str, Any]) -> CostMonth:
    """The report as it was kept: when the month closed, or by the background worker."""
    money = currency()
    frames = {
        name: from_records(each, coverage=Coverage(**each["coverage"]), **money)
        for name, each in kept["frames"].items()
    }
    late = frames["late"]
    late["belongs_to"] = [date.fromisoformat(day) for day in late["belongs_to"]]
    return CostMonth(
        first_day=month.first_day,
        closed_at=month.closed_at,
        closed_by=month.closed_by.shown_name if month.closed_by else "",
        total_minor=kept["total_minor"],
        coverage=Coverage(**kept["coverage"]),
        unknown=tuple(kept["unknown"]),
        **frames,
    )


_POSTED = (
    "key", "belongs_to_id", "shift_date", "kind", "line_id", "run_id", "piece_id", "amount_minor",
    "cause", "evidence", "reverses_id",
)  # fmt: skip


def postings_print(month: Month) -> dict[str, Any]:
    """How many postings a month has, their sum in minor units, and a SHA-256 of what they say:
    kept when it closes, so that any later change shows."""
    digest, rows, total = hashlib.sha256(), 0, 0
    for row in month.postings.order_by("pk").values_list(*_POSTED).iterator(2_000):
        digest.update(json.dumps(row, default=str).encode())
        rows, total = rows + 1, total + row[7]
    return {"rows": rows, "total_minor": total, "sha256": digest.hexdigest()}
