"""What one source's own page shows beside its state: what it can tell, who else watches its
torches, who delivers it, and what its refused lines might become."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Max, Min
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import EnteredCount
from shopfloor.sources.queries import instant
from telemetry.counted import spans_at
from telemetry.description import Description, parse_description
from telemetry.models import Arc, CountedSpan, Feed, FeedVersion, PushToken

CONTACTS = {
    "torch_on": N_("that the torch is switched on"),
    "pilot": N_("that the pilot arc burns"),
    "transfer": N_("that the arc has gone over to the plate"),
}
CANNOT = N_("can’t know")


def description_of(feed: Feed) -> Description:
    text = FeedVersion.objects.get(feed=feed, version=feed.version).text
    return parse_description(text, name=feed.name)


@dataclass(frozen=True, slots=True)
class Knowing:
    """What a source can tell: each of its `rows` is a thing and how it is known."""

    contact: str
    pierces: bool
    from_arrival: bool
    rows: tuple[tuple[str, str], ...]


def source_knows(description: Description) -> Knowing:
    """For pages: what follows from a source's signals, and what no line of it can ever say."""
    kinds = description.kinds
    pierces = description.knows.pierces
    contact = description.knows.contact or ""
    rows = [
        (_("its contact says"), _(CONTACTS.get(contact, N_("not stated")))),
        ("starts", "counted"),
        (
            "misfires",
            _("counted where a plan says what should have pierced") if pierces else _(CANNOT),
        ),
        (
            _("piercing and cutting"),
            _("shown separately") if pierces else _("shown together as arc time"),
        ),
        ("program", _("named") if 4 in kinds else _(CANNOT)),
        ("current", _("measured") if 5 in kinds else _(CANNOT)),
    ]
    return Knowing(contact, pierces, description.times_from_arrival, tuple(rows))


@dataclass(frozen=True, slots=True)
class Watcher:
    """One of the sources that watch a torch, and the arcs it gave."""

    feed: Feed
    arcs: int
    first: datetime | None
    last: datetime | None


def source_watchers(feed: Feed) -> list[Watcher]:
    """All sources of the table whose arcs could be the same ones, this one among them; empty
    where it is alone."""
    feeds = [
        other
        for other in Feed.objects.filter(table=feed.table).order_by("name")
        if not other.torch or not feed.torch or other.torch == feed.torch
    ]
    if len(feeds) < 2:
        return []
    given: dict[int, tuple[int, int, int]] = {
        feed_id: (n, first, last)
        for feed_id, n, first, last in Arc.objects.filter(feed__in=feeds)
        .order_by()
        .values_list("feed")
        .annotate(n=Count("id"), first=Min("on_us"), last=Max("on_us"))
    }
    found = []
    for one in feeds:
        n, first, last = given.get(one.pk, (0, None, None))
        found.append(Watcher(one, n, instant(first), instant(last)))
    return found


def source_turns(feed: Feed) -> list[CountedSpan]:
    """Whose arcs counted from when until when, oldest first; empty where none took over."""
    rows = spans_at(feed.table, feed.torch).select_related("feed")
    return sorted(rows, key=lambda span: (span.from_us or 0, span.feed.name))


@dataclass(frozen=True, slots=True)
class Entered:
    """What somebody entered for a time without lines, and what lines said of it since. The
    differences are measured less entered; None while nothing was measured."""

    row: EnteredCount
    starts_off: int | None
    arc_off_s: float | None


def entered_counts(feed: Feed, most: int = 30) -> list[Entered]:
    """Of the torches this source speaks of, the latest first."""
    rows = EnteredCount.objects.filter(torch__table__code=feed.table).select_related("torch", "by")
    if feed.torch:
        rows = rows.filter(torch__code=feed.torch)
    return [
        Entered(
            row,
            None if row.measured_starts is None else row.measured_starts - row.starts,
            None if row.measured_arc_s is None else row.measured_arc_s - row.arc_s,
        )
        for row in rows[:most]
    ]


@dataclass(frozen=True, slots=True)
class Delivering:
    """The collector that may deliver a pushed source now."""

    token: PushToken
    seen: datetime | None
    behind_us: int | None  # its machine's clock, against this one's


def source_collector(feed: Feed) -> Delivering | None:
    token = PushToken.objects.filter(feed=feed, ended_at=None).first()
    if token is None:
        return None
    off_us = token.clock_off_us
    return Delivering(token, instant(token.seen_us), None if off_us is None else -off_us)
