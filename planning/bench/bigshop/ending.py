"""What only the present has, ended in the copies that are past."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from planning.bench.bigshop.copies import Copy

Row = dict[str, Any]
Ended = Callable[[Row, Copy, datetime], bool]


def _job(row: Row, copy: Copy, now: datetime) -> bool:
    if row["state"] != "closed":
        row["state"], row["closed_at"] = "closed", now
    return True


def _run(row: Row, copy: Copy, now: datetime) -> bool:
    if row["state"] in ("open", "stopped"):
        row["state"], row["closed_at"] = "finished", now
    return True


def _segment(row: Row, copy: Copy, now: datetime) -> bool:
    if row["ended_at"] is None:
        row["ended_at"], row["end_reason"] = now, "finish"
    return True


def _stoppage(row: Row, copy: Copy, now: datetime) -> bool:
    row["ended_at"] = row["ended_at"] or now
    return True


def _sheet(row: Row, copy: Copy, now: datetime) -> bool:
    """A whole sheet that waits is one the queue waits for; a remnant is written off some day."""
    if row["state"] == "in_stock":
        row["state"] = "written_off"
        return row["parent_id"] is not None
    row["state"] = "cut"
    return True


def _queue(row: Row, copy: Copy, now: datetime) -> bool:
    waits = row["state"] == "waiting"
    row["state"] = "done"
    return not waits


def _piece(row: Row, copy: Copy, now: datetime) -> bool:
    row["tray_id"] = None
    if row["state"] in ("fitted", "shelved", "new"):
        row["state"] = "retired"
    return True


def _fitting(row: Row, copy: Copy, now: datetime) -> bool:
    if row["removed_at"] is None:
        row["removed_at"], row["removed_by_id"] = now, row["fitted_by_id"]
        row["removal_state"], row["removal_cause"] = "retired", "pit"
    return True


def _action(row: Row, copy: Copy, now: datetime) -> bool:
    if row["state"] == "conflict":
        row["state"] = "refused"
    return True


def _quote(row: Row, copy: Copy, now: datetime) -> bool:
    if row["state"] == "open":
        row["state"], row["decided_at"], row["decided_by_id"] = "lost", now, row["made_by_id"]
        row["why"] = "went elsewhere"
    return True


def _work(row: Row, copy: Copy, now: datetime) -> bool:
    return bool(row["state"] == "done")


def _notice(row: Row, copy: Copy, now: datetime) -> bool:
    row["seen_at"] = row["seen_at"] or now
    return True


def _alarm(row: Row, copy: Copy, now: datetime) -> bool:
    row["cleared_us"] = row["cleared_us"] or row["at_us"]
    return True


ENDED: dict[str, Ended] = {
    "shopfloor.Job": _job, "shopfloor.Run": _run, "shopfloor.Segment": _segment,
    "shopfloor.Stoppage": _stoppage, "shopfloor.Sheet": _sheet, "shopfloor.QueueItem": _queue,
    "shopfloor.Piece": _piece, "shopfloor.Fitting": _fitting, "shopfloor.Action": _action,
    "shopfloor.Quote": _quote, "shopfloor.Work": _work, "telemetry.Alarm": _alarm,
    "shopfloor.SecurityNotice": _notice,
}  # fmt: skip
