"""SQLite's write-ahead log: written back beside the commits, and an alarm where somebody's long
reading keeps it from that."""

from __future__ import annotations

import logging
import threading
from pathlib import Path

from django.db import Error as DatabaseError
from django.db import connection
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from telemetry.models import Alarm

LIMIT_BYTES = 256 * 1024 * 1024
CODE = N_("log pinned")
_EACH_S = 0.5
_SELDOM_PAGES = 10_000  # 40 MB: a commit writes the log back itself only where nobody else could
log = logging.getLogger("telemetry.worker")


def write_back_until(ending: threading.Event) -> None:
    """Writes the log back every half second, on a thread of its own and without waiting for any
    reader. Done within a commit, as SQLite does by itself, it holds up all lines for as long as
    the disk takes."""
    if connection.vendor != "sqlite":
        return
    try:
        while not ending.wait(_EACH_S):
            try:
                with connection.cursor() as cursor:
                    cursor.execute("PRAGMA wal_checkpoint(PASSIVE)")
            except DatabaseError as error:
                log.debug("the log is written back later: %s", error)
    finally:
        connection.close()


def log_alarm(now_us: int) -> None:
    """Raises or clears the alarm. Writing back is asked for without waiting for any reader, so that
    it never holds up what comes in."""
    if connection.vendor != "sqlite":
        return  # PostgreSQL's log is not held by readers
    with connection.cursor() as cursor:  # a connection that was lost begins with the usual again
        cursor.execute(f"PRAGMA wal_autocheckpoint = {_SELDOM_PAGES}")
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
            message=_(
                "the database's log has grown to {size} MB: a program that has been reading for "
                "long keeps it from being written back; end that program"
            ).format(size=size >> 20),
        )  # fmt: skip
