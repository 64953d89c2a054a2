"""What the database's planner goes by: without it SQLite guesses which index is the better one."""

from __future__ import annotations

from django.db import connection

_LOOKED_AT = 1000  # entries of each index; a whole count takes minutes in a shop of years


def statistics_update() -> None:
    """Has SQLite count anew, which it never does by itself. PostgreSQL does."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA analysis_limit = {_LOOKED_AT}")
            cursor.execute("ANALYZE")
