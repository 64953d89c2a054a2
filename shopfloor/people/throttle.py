"""Slows down guessing: attempts are counted in the database, so that all web processes count
together and a restart forgets nothing. One statement counts one attempt: two requests at once
count two, on SQLite and on PostgreSQL.
"""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass

from django.db import connection, transaction
from django.db.models import F

from shopfloor.models import Throttle

MOST_ROWS = 10_000  # beyond it those that end soonest are forgotten
_TIDY = 500
_SKEW_US = 60_000_000  # what the clocks of two web machines may differ by
# A row that ends later than any wait could make it was written before the clock was set back.
_COUNT = """
INSERT INTO shopfloor_throttle (key, times, ends_us) VALUES (%(key)s, 1, %(ends)s)
ON CONFLICT (key) DO UPDATE SET
  times = CASE WHEN shopfloor_throttle.ends_us NOT BETWEEN %(now)s AND %(latest)s THEN 1
          ELSE shopfloor_throttle.times + 1 END,
  ends_us = CASE WHEN shopfloor_throttle.ends_us BETWEEN %(now)s AND %(latest)s
                  AND shopfloor_throttle.times >= %(most)s THEN shopfloor_throttle.ends_us
            ELSE excluded.ends_us END
RETURNING times, ends_us
"""


@dataclass(frozen=True, slots=True)
class Limit:
    """At most `most` attempts under one key, then none for `wait_s`. Each attempt that was still
    allowed begins the time anew; one that was refused does not."""

    name: str
    most: int
    wait_s: int


def attempt(limit: Limit, *parts: str) -> float:
    """Counts one attempt. 0 where it is allowed, else in how many seconds to try again."""
    now_us = time.time_ns() // 1000
    ends_us = now_us + limit.wait_s * 1_000_000
    values: dict[str, str | int] = {
        "key": _key(limit, parts), "now": now_us, "most": limit.most,
        "ends": ends_us, "latest": ends_us + _SKEW_US,
    }  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(_COUNT, values)
        times, ends_us = cursor.fetchone()
    if times == 1:
        _tidy(now_us)
    return (ends_us - now_us) / 1e6 if times > limit.most else 0.0


def must_wait(limit: Limit, *parts: str) -> float:
    """Like `attempt`, counting nothing: 0 where another attempt would be allowed now."""
    now_us = time.time_ns() // 1000
    ends_us = (
        Throttle.objects.filter(key=_key(limit, parts), times__gte=limit.most)
        .filter(ends_us__range=(now_us, now_us + limit.wait_s * 1_000_000 + _SKEW_US))
        .values_list("ends_us", flat=True)
        .first()
    )
    return 0.0 if ends_us is None else max(0.001, (ends_us - now_us) / 1e6)


def forget(limit: Limit, *parts: str) -> None:
    """What was counted under the key is over."""
    Throttle.objects.filter(key=_key(limit, parts)).delete()


def give_back(limit: Limit, *parts: str) -> None:
    """One attempt was none after all."""
    Throttle.objects.filter(key=_key(limit, parts), times__gt=0).update(times=F("times") - 1)


def _key(limit: Limit, parts: tuple[str, ...]) -> str:
    text = "\0".join((limit.name, *parts))
    return hashlib.sha256(text.encode(errors="replace")).hexdigest()


def _tidy(now_us: int) -> None:
    """Deletes what is over, and what is too much. Rows that another request holds are left."""
    rows = Throttle.objects.select_for_update(skip_locked=True).order_by("ends_us")
    with transaction.atomic():
        too_many = max(0, Throttle.objects.count() - MOST_ROWS)
        over = list(rows.filter(ends_us__lt=now_us).values_list("pk", flat=True)[:_TIDY])
        soonest = list(rows.values_list("pk", flat=True)[:too_many]) if too_many else []
        if over or soonest:
            Throttle.objects.filter(pk__in={*over, *soonest}).delete()
