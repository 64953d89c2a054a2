"""Reads feeds into the journal and the journal into the database.

A thread a feed reads its source and touches neither disk nor database. One thread journals what
they read, every 50 ms or 256 KiB: its fdatasync is the acknowledgement. One thread decodes the
journal and commits. So a slow or locked database delays rows, never bytes.
"""

from __future__ import annotations

from telemetry.worker.run import run_once, run_until

__all__ = ["run_once", "run_until"]
