"""What burns or burnt on a table without a run, and whether its source still tells."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from shopfloor.models import Run, RunState, Table
from shopfloor.runs.arcs import from_us, master_arcs, to_us
from shopfloor.runs.floor.since import BACK
from shopfloor.runs.unassigned import Unassigned, unassigned_clusters
from shopfloor.terminal.words import clock
from shopfloor.wording.counts import count
from telemetry.models import Feed
from telemetry.selectors import feed_health

# An arc without an end that began longer ago has lost it: our assumption.
LONGEST = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Since:
    """A start may say that it began with these arcs. `at` is an ISO time for the entry."""

    at: str
    clock: str
    words: str


@dataclass(frozen=True, slots=True)
class Loose:
    head: str
    words: str
    since: list[Since]


def lost_since(table: Table, now: datetime, *, lit: bool) -> datetime | None:
    """Since when none of the table's sources says anything; None while one does, and where none
    ever did. A source that is read and quiet is lost only while an arc has no end (`lit`)."""
    feeds = Feed.objects.filter(table=table.code, enabled=True, master=True)
    healths = [feed_health(feed, to_us(now)) for feed in feeds]
    heard = [one.last_line_us for one in healths if one.last_line_us is not None]
    tells = ("alive",) if lit else ("alive", "silent")
    if not heard or any(one.state in tells for one in healths):
        return None
    return from_us(max(heard))


def loose_of(table: Table, run: Run | None, now: datetime) -> Loose:
    """For a table where nothing runs; empty while something does."""
    if run is not None:
        return Loose("", "", [])
    lit = master_arcs(table).filter(off_us=None, on_us__gt=to_us(now - LONGEST)).exists()
    lost = lost_since(table, now, lit=lit)
    found = _clusters(table, now)
    several = table.torches.count() > 1
    since = [_since(one, several) for one in found]
    if lit and lost is None:
        return Loose(_("The torch burns, and no run is started"), _words(since), since)
    words = _words(since)
    if lost is not None:
        said = _(
            "Nothing came from the signal since {lost}: nobody knows what burnt since."
        ).format(lost=clock(lost))
        words = f"{words} {said}".strip()
    return Loose(_("No run is started") if since or lost else _("Nothing is cutting"), words, since)


def _clusters(table: Table, now: datetime) -> list[Unassigned]:
    """Arcs since the last run ended, the newest stretch first."""
    ended = (
        Run.objects.filter(table=table, closed_at__isnull=False)
        .exclude(state=RunState.VOIDED)
        .order_by("-closed_at")
        .values_list("closed_at", flat=True)
        .first()
    )
    start = max(ended, now - BACK) if ended else now - BACK
    return unassigned_clusters(table, start, now)[::-1][:3]


def _since(one: Unassigned, several: bool) -> Since:
    words = _("{arcs} to {end}, torch {torch}") if several else _("{arcs} to {end}")
    said = words.format(
        arcs=count(one.arcs, "{n} arc", "{n} arcs"), end=clock(one.end), torch=one.torch
    )
    return Since(one.start.isoformat(), clock(one.start), said)


def _words(since: list[Since]) -> str:
    if not since:
        return ""
    one = since[0]
    return _("From {clock}: {words}, in no run. Start what it is: it can begin then.").format(
        clock=one.clock, words=one.words
    )
