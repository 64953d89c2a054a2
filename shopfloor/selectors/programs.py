"""Which program a table said it was running. The master of arcs may be a bare contact that cannot
say; a program log beside it can, by time."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from shopfloor.matching import ArcSeen
from shopfloor.models import Table
from telemetry.events import PROGRAM
from telemetry.models import Arc, Event, Feed

BEFORE_US = 24 * 3_600_000_000  # a program loaded longer ago says nothing of these arcs


def programs_of(table: Table, arcs: Sequence[ArcSeen]) -> dict[str, str]:
    """By arc key the program it burnt under: as its own source said, else the last one that any
    other source of the table named before it. Arcs nobody can name a program for are left out."""
    if not arcs:
        return {}
    found: dict[str, str] = {}
    keys = [arc.key for arc in arcs]
    for index in range(0, len(keys), 500):
        rows = Arc.objects.filter(key__in=keys[index : index + 500]).exclude(program=None)
        found.update((key, name or "") for key, name in rows.values_list("key", "program"))
    missing = [arc for arc in arcs if arc.key not in found]
    if missing:
        named = _named(table, min(a.on_us for a in missing), max(a.on_us for a in missing))
        for arc in missing:
            name = _last(named, arc)
            if name:
                found[arc.key] = name
    return found


Named = list[tuple[int, str, str, str]]  # instant, torch ("" for all), feed, name


def _named(table: Table, first_us: int, last_us: int) -> Named:
    feeds = dict(Feed.objects.filter(table=table.code).values_list("pk", "name"))
    rows = Event.objects.filter(
        feed__in=list(feeds), kind=PROGRAM, at_us__gte=first_us - BEFORE_US, at_us__lte=last_us
    )
    fields = rows.order_by("at_us").values_list("at_us", "torch", "feed_id", "text")
    return [(at, torch, feeds[feed], text or "") for at, torch, feed, text in fields]


def _last(named: Named, arc: ArcSeen) -> str:
    own = arc.key.split("|", 1)[0]
    for at_us, torch, feed, name in reversed(named[: bisect_right(named, arc.on_us, key=_at)]):
        if at_us >= arc.on_us - BEFORE_US and feed != own and torch in ("", arc.torch):
            return name
    return ""


def _at(row: tuple[int, str, str, str]) -> int:
    return row[0]
