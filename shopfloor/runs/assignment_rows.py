"""Many assignments at once, past the ORM: a backfill matches tens of thousands of arcs, and
building a model and its SQL for each took most of the time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import connection

from shopfloor.models import ArcAssignment

COLUMNS = ("arc_key", "segment_id", "contour_number", "repeat", "at", "why")
AT_ONCE = 5000

Made = tuple[str, int | None, int | None, bool]  # key, segment, contour, repeat


def assignments_insert(made: Sequence[Made], *, at: datetime) -> None:
    """New rows made by matching, inside the caller's transaction. Raises IntegrityError where a
    key is there already."""
    table = connection.ops.quote_name(ArcAssignment._meta.db_table)
    columns = ", ".join(connection.ops.quote_name(name) for name in COLUMNS)
    places = ", ".join(["%s"] * len(COLUMNS))
    statement = f"INSERT INTO {table} ({columns}) VALUES ({places})"  # noqa: S608 - our own names
    stamp = connection.ops.adapt_datetimefield_value(at)
    with connection.cursor() as cursor:
        for index in range(0, len(made), AT_ONCE):
            rows: list[tuple[Any, ...]] = [
                (*row, stamp, "") for row in made[index : index + AT_ONCE]
            ]
            cursor.executemany(statement, rows)
