"""Which program a table said it was running. The master of arcs may be a bare contact that cannot
say; a program log beside it can, by time."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from shopfloor.models import Table
from shopfloor.runs.matching import ArcInput
from shopfloor.wording.visible import visible
from telemetry.events import PROGRAM
from telemetry.models import Arc, Event, Feed

BEFORE_US = 24 * 3_600_000_000  # a program loaded longer ago says nothing of these arcs


def programs_of(table: Table, arcs: Sequence[ArcInput]) -> dict[str, str]:
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
        found.update(programs_beside([replace(arc, table=table.code) for arc in missing]))
    return {key: visible(name) for key, name in found.items()}


def programs_beside(arcs: Sequence[ArcInput]) -> dict[str, str]:
    """By arc key what another source of its table named last before it, for arcs whose own source
    names none. One query for arcs of all tables, which should be of about the same time."""
    if not arcs:
        return {}
    moments = [arc.on_us for arc in arcs]
    named = _named({arc.table for arc in arcs}, min(moments), max(moments))
    found = {arc.key: _last(named.get(arc.table, []), arc) for arc in arcs}
    return {key: visible(name) for key, name in found.items() if name}


Named = list[tuple[int, str, str, str]]  # instant, torch ("" for all), feed, name


def _named(tables: Iterable[str], first_us: int, last_us: int) -> dict[str, Named]:
    feeds = Feed.objects.filter(table__in=list(tables)).values("pk")
    rows = Event.objects.filter(
        feed__in=feeds, kind=PROGRAM, at_us__gte=first_us - BEFORE_US, at_us__lte=last_us
    )
    found: dict[str, Named] = defaultdict(list)
    for table, at, torch, feed, text in rows.order_by("at_us").values_list(
        "feed__table", "at_us", "torch", "feed__name", "text"
    ):
        found[table].append((at, torch, feed, text or ""))
    return found


def _last(named: Named, arc: ArcInput) -> str:
    own = arc.key.split("|", 1)[0]
    for at_us, torch, feed, name in reversed(named[: bisect_right(named, arc.on_us, key=_at)]):
        if at_us >= arc.on_us - BEFORE_US and feed != own and torch in ("", arc.torch):
            return name
    return ""


def _at(row: tuple[int, str, str, str]) -> int:
    return row[0]
