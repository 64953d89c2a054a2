"""Help for the long runs over many rows."""

from __future__ import annotations

import contextlib
import gc
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

from django.db import connection

from telemetry.lanes.gathered import Gathered


def large_cache() -> None:
    """Arcs and events of several feeds lie all over their trees: with SQLite's usual 2 MB in memory
    a long run reads and writes most pages again and again. Likewise the log is written back a
    tenth as often, every 40 MB."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA cache_size = -131072")
            cursor.execute("PRAGMA wal_autocheckpoint = 10000")


@contextlib.contextmanager
def pause_garbage_collection() -> Iterator[None]:
    """Rows by the hundred thousand hold no cycles, and looking for some among them costs a
    seventh of a backfill: the collector looks a hundred times less often meanwhile."""
    before = gc.get_threshold()
    gc.set_threshold(before[0] * 100, before[1], before[2])
    try:
        yield
    finally:
        gc.set_threshold(*before)


@contextlib.contextmanager
def _short_turns() -> Iterator[None]:
    before = sys.getswitchinterval()
    sys.setswitchinterval(_TURN_S)
    try:
        yield
    finally:
        sys.setswitchinterval(before)


def prefetch(every: Iterator[Gathered]) -> Iterator[Gathered]:
    """The same, the next decoded on a thread beside while the last is stored.

    Only for a database with a server, during whose work nobody else computes here. SQLite works in
    this process, at each row of which the two threads would wait for each other.
    """
    if connection.vendor != "postgresql":
        yield from every
        return
    with _short_turns(), ThreadPoolExecutor(1, thread_name_prefix="decoding") as pool:
        coming = pool.submit(next, every, None)
        while (gathered := coming.result()) is not None:
            coming = pool.submit(next, every, None)
            yield gathered


_TURN_S = 0.0005  # as long as the server may lie idle until the decoding thread gives way
