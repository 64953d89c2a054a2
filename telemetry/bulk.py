"""Help for the long runs over many rows."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator

from django.db import connection


def large_cache() -> None:
    """Arcs and events of several feeds lie all over their trees: with SQLite's usual 2 MB in memory
    a long run reads and writes most pages again and again. Likewise the log is written back a
    tenth as often, every 40 MB."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA cache_size = -131072")
            cursor.execute("PRAGMA wal_autocheckpoint = 10000")


@contextlib.contextmanager
def few_collections() -> Iterator[None]:
    """Rows by the hundred thousand hold no cycles, and looking for some among them costs a
    seventh of a backfill: the collector looks a hundred times less often meanwhile."""
    before = gc.get_threshold()
    gc.set_threshold(before[0] * 100, before[1], before[2])
    try:
        yield
    finally:
        gc.set_threshold(*before)
