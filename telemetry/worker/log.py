"""An alarm for a write-ahead log that somebody's long reading keeps from being written back."""

from __future__ import annotations

import logging
from pathlib import Path

from django.db import connection

from telemetry.models import Alarm

LIMIT_BYTES = 256 * 1024 * 1024
CODE = "log pinned"
log = logging.getLogger("telemetry.worker")


def log_alarm(now_us: int) -> None:
    """Raises or clears the alarm. Writing back is asked for without waiting for any reader, so that
    it never holds up what comes in."""
    if connection.vendor != "sqlite":
        return  # PostgreSQL's log is not held by readers
    path = Path(f"{connection.settings_dict['NAME']}-wal")
    size = path.stat().st_size if path.is_file() else 0
    standing = Alarm.objects.filter(feed=None, code=CODE, cleared_us=None)
    if size <= LIMIT_BYTES:
        standing.update(cleared_us=now_us)
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA wal_checkpoint(PASSIVE)")
        busy, pages, written = cursor.fetchone()
    if not busy and pages == written:
        # All of it is in the database: the next writer begins the log anew. Cut it to its size.
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA journal_size_limit = 0")
        standing.update(cleared_us=now_us)
        return
    if not standing.exists():
        log.warning("the database's log cannot be written back")
        Alarm.objects.create(
            feed=None, code=CODE, at_us=now_us,
            message=f"the database's log has grown to {size >> 20} MB: a program that has been "
            "reading for long keeps it from being written back; end that program",
        )  # fmt: skip
