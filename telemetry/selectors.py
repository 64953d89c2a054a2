"""Named reads for those who build on intake. Instants are microseconds UTC."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db.models import Count, F, Max, Q, Sum

from telemetry.clockwatch import ClockEstimate
from telemetry.description import parse_description
from telemetry.errors import DescriptionError
from telemetry.locks import is_held
from telemetry.models import (
    Arc,
    Cursor,
    Feed,
    FeedVersion,
    GoneArc,
    Health,
    Repeat,
)
from telemetry.paths import lock_path
from telemetry.said import said, to_reader

SILENT_US = 10 * 60 * 1_000_000
_BEAT_LATE_US = 15 * 1_000_000
_AHEAD_US = 5 * 1_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def arcs_changed_since(changed_us: int = 0, after_id: int = 0, count: int = 1000) -> list[Arc]:
    """Arcs that came or changed after the cursor (changed_us, id), in that order.

    For those who follow arcs: keep (changed_us, id) of the last one in the same transaction as
    what was made of it. An arc comes again each time it changes; none is passed over, because
    `changed_us` only ever grows from one commit to the next.
    """
    later = Q(changed_us__gt=changed_us) | Q(changed_us=changed_us, id__gt=after_id)
    return list(Arc.objects.filter(later).order_by("changed_us", "id")[:count])


def arcs_gone_since(changed_us: int = 0, after_id: int = 0, count: int = 1000) -> list[GoneArc]:
    """Arcs that went after the cursor (changed_us, id), in that order; a cursor of its own. One
    that came again since is among them, and among those of `arcs_changed_since`."""
    later = Q(changed_us__gt=changed_us) | Q(changed_us=changed_us, id__gt=after_id)
    return list(GoneArc.objects.filter(later).order_by("changed_us", "id")[:count])


@dataclass(frozen=True, slots=True)
class FeedHealth:
    """One word and its age.

    alive: a worker listens and a line came within ten minutes. silent: it listens and none did.
    waiting: it tries to open the source. failed: the source cannot be opened, waiting will not
    help. off: no worker reads this feed. never: nothing has ever come.
    """

    state: str
    since_us: int | None
    message: str
    last_line_us: int | None


def feed_health(feed: Feed, now_us: int | None = None) -> FeedHealth:
    """How a feed is now; whatever it gave before `since_us` says nothing about now."""
    return feed_healths([feed], now_us)[feed]


def feed_healths(
    feeds: Sequence[Feed],
    now_us: int | None = None,
    healths: Mapping[int, Health] | None = None,
) -> dict[Feed, FeedHealth]:
    """`feed_health` of many, in two queries; `healths` are their rows by feed id, if at hand."""
    now_us = time.time_ns() // 1000 if now_us is None else now_us
    lasts = dict(
        Cursor.objects.filter(feed__in=feeds)
        .order_by()
        .values_list("feed_id")
        .annotate(last=Max("last_line_us"))
    )
    if healths is None:
        healths = {row.feed_id: row for row in Health.objects.filter(feed__in=feeds)}
    return {feed: _health(feed, healths.get(feed.pk), lasts.get(feed.pk), now_us) for feed in feeds}


def _health(feed: Feed, health: Health | None, last_us: int | None, now_us: int) -> FeedHealth:
    read_now = is_held(lock_path(feed.name, "live"))
    if health is not None and read_now and health.link in ("waiting", "failed"):
        return FeedHealth(health.link, health.since_us, health.message, last_us)
    if last_us is None:
        trouble = health.message if health is not None and read_now else ""
        return FeedHealth("never", None, trouble, None)
    if not read_now or health is None or abs(now_us - health.beat_us) > _BEAT_LATE_US:
        since_us = last_us if health is None else max(last_us, health.beat_us)
        return FeedHealth(
            "off", min(since_us, now_us), to_reader(said("no worker reads this feed")), last_us
        )
    heard_us = last_us
    if last_us > now_us + _AHEAD_US:
        # The host's clock was set back since. The worker says by the clock of now when it last
        # heard anything, or at least since when it listens.
        heard_us = health.since_us if health.last_byte_us is None else health.last_byte_us
    if now_us - heard_us > SILENT_US:
        return FeedHealth("silent", heard_us, "", last_us)
    return FeedHealth("alive", last_us, health.message, last_us)


def feed_status(feed: Feed) -> dict[str, Any]:
    """One feed as `status --json` prints it: every line counted once, however often it was read.

    `lines` = events + rejected + duplicates + level polls that changed nothing (+ mended lines,
    which are events now). `arc_seconds` sums arcs that have ended; `pierces` is None where the
    source cannot know them.
    """
    counts = Cursor.objects.filter(feed=feed).aggregate(lines=Sum("lines"), events=Sum("events"))
    arcs = feed.arcs.aggregate(
        n=Count("id"), us=Sum(F("off_us") - F("on_us")), pierced=Sum("pierces"),
        counted=Count("pierces"),
    )  # fmt: skip
    strays = feed.strays.aggregate(
        offs=Count("id", filter=Q(kind="off")), pierces=Count("id", filter=Q(kind="pierce"))
    )
    health = feed_health(feed)
    return {
        "name": feed.name,
        "table": feed.table,
        "torch": feed.torch or None,
        "lines": counts["lines"] or 0,
        "events": counts["events"] or 0,
        "rejected": feed.rejects.filter(mended_version=None).count(),
        "duplicates": Repeat.objects.filter(feed=feed).aggregate(n=Sum("times"))["n"] or 0,
        "gaps": feed.gaps.filter(kind="seq").count(),
        "stray_offs": strays["offs"],
        "stray_pierces": strays["pierces"],
        "arcs": arcs["n"],
        "arc_seconds": (arcs["us"] or 0) / 1_000_000,
        "pierces": arcs["pierced"] if arcs["counted"] == arcs["n"] and arcs["n"] else None,
        "last_line": None if health.last_line_us is None else iso(health.last_line_us),
        "state": health.state,
        "since": None if health.since_us is None else iso(health.since_us),
        "message": health.message,
        "knows": _knows(feed),
        "links_lost": feed.gaps.filter(kind="link").count(),
    }


def clock_estimate(feed: Feed) -> ClockEstimate | None:
    """How far the source's clock seems behind the host's, by what intake heard live since the
    clock was corrected last; None with fewer than 20 lines, or where times are those of arrival."""
    health = Health.objects.filter(feed=feed).first()
    if health is None or health.lag_us is None or health.lag_spread_us is None:
        return None
    return ClockEstimate(health.lag_lines, health.lag_us, health.lag_spread_us)


def _knows(feed: Feed) -> dict[str, Any]:
    """What the source can tell; a script must take the rest as unknown, not as zero."""
    try:
        text = FeedVersion.objects.get(feed=feed, version=feed.version).text
        knows = parse_description(text, name=feed.name).knows
    except (FeedVersion.DoesNotExist, DescriptionError):
        return {"contact": None, "pierces": None}
    return {"contact": knows.contact, "pierces": knows.pierces}


def iso(instant_us: int) -> str:
    return (_EPOCH + timedelta(microseconds=instant_us)).isoformat().replace("+00:00", "Z")
