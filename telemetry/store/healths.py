"""What the worker last knew of its feeds, a hundred of them a statement: made of as many model
objects it takes five times as long, and lines wait for it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import connection

_SAID = ["link", "message", "since_us", "beat_us", "last_byte_us"]
_LAG = ["lag_us", "lag_spread_us", "lag_lines"]
_AT_ONCE = 100  # rows; the oldest SQLite takes 999 values in one statement


def save_healths(rows: Sequence[Sequence[Any]], *, lag: bool = False) -> None:
    """Rows of feed_id and the fields named above. What is there of a lag stays unless `lag`."""
    names = ["feed_id", *_SAID, *_LAG]
    marks = f"({', '.join(['%s'] * len(names))})"
    changes = ", ".join(f"{name} = excluded.{name}" for name in (_SAID + _LAG if lag else _SAID))
    with connection.cursor() as cursor:
        for at in range(0, len(rows), _AT_ONCE):
            some = rows[at : at + _AT_ONCE]
            cursor.execute(
                f"INSERT INTO telemetry_health ({', '.join(names)}) "
                f"VALUES {', '.join([marks] * len(some))} "
                f"ON CONFLICT (feed_id) DO UPDATE SET {changes}",
                [value for row in some for value in row],
            )
