"""One state of the database for as long as something is read, while others go on writing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def one_view() -> Iterator[None]:
    """Reads within see the database as it was at the first of them. Nobody waits for it: it takes
    no lock that a writer wants. Nothing may be written within. Inside a transaction that has begun
    already (a test's) it is that transaction's view."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield
    else:
        # `atomic` would begin as a writer does (IMMEDIATE) and hold up intake.
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")
