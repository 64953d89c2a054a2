"""A corrected clock moves stored events; their raw stamps and arrival stay."""

from __future__ import annotations

from django.db import connection

from telemetry.lanes.gathered import Clock
from telemetry.models import ClockOffset, Feed


def retime_all(feed: Feed, upto: Clock | None = None) -> int:
    """Applies every clock version (to `upto`) to events that older ones timed; how many moved."""
    rows = ClockOffset.objects.filter(feed=feed, version__gt=0).order_by("version")
    if upto is not None:
        rows = rows.filter(version__lte=upto.version)
    clocks = [Clock(row.version, row.offset_us, row.from_us, row.heard_from_us) for row in rows]
    return sum(_retime(feed, clock) for clock in clocks)


def _retime(feed: Feed, clock: Clock) -> int:
    """Puts every event from `clock.from_us` on at its raw time plus the new offset."""
    moved = 0
    older = ClockOffset.objects.filter(feed=feed, version__lt=clock.version)
    offsets = dict(older.values_list("version", "offset_us"))
    with connection.cursor() as cursor:
        for version, offset_us in offsets.items():
            sql = (
                "UPDATE telemetry_event SET at_us = at_us + %s, clock_version = %s "
                "WHERE feed_id = %s AND clock_version = %s"
            )
            args = [clock.offset_us - offset_us, clock.version, feed.pk, version]
            if clock.from_us is not None:
                sql, args = sql + " AND at_us >= %s", [*args, clock.from_us + offset_us]
            if clock.heard_from_us is not None:
                sql, args = sql + " AND received_us >= %s", [*args, clock.heard_from_us]
            cursor.execute(sql, args)
            moved += cursor.rowcount
    return moved
