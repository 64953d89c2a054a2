"""Descriptions and clock corrections that the journal knows and the database does not: it was put
back from before they were made, or lost. What people said since under the same number is given
the next one, so that it comes into force behind what the journal holds."""

from __future__ import annotations

import hashlib

from django.db.models import Max
from django.utils import timezone

from telemetry.description import parse_description
from telemetry.lanes.gathered import Clock
from telemetry.models import ClockOffset, Feed, FeedVersion

FROM_JOURNAL = "the journal"


def take_up_text(feed: Feed, version: int, text: str) -> None:
    """Makes version `version` of the description what the journal says it was."""
    row = FeedVersion.objects.filter(feed=feed, version=version).first()
    if row is not None and row.text == text:
        return
    stored = Feed.objects.get(pk=feed.pk)
    if row is not None:
        last = FeedVersion.objects.filter(feed=feed).aggregate(last=Max("version"))["last"]
        FeedVersion.objects.filter(pk=row.pk).update(version=last + 1)
        stored.version = max(stored.version, last + 1)
    FeedVersion.objects.create(
        feed=feed, version=version, text=text, made_at=timezone.now(), made_by=FROM_JOURNAL,
        sha256=hashlib.sha256(text.encode()).hexdigest(),
    )  # fmt: skip
    if version > stored.version:
        description = parse_description(text, name=feed.name)
        stored.version, stored.table = version, description.table
        stored.torch, stored.kind = description.torch or "", description.source.kind
    stored.save(update_fields=["version", "table", "torch", "kind"])
    feed.refresh_from_db(fields=["version", "table", "torch", "kind"])


def take_up_clock(feed: Feed, clock: Clock) -> None:
    """Makes this clock correction what the journal says it was."""
    row = ClockOffset.objects.filter(feed=feed, version=clock.version).first()
    if row is not None:
        known = Clock(row.version, row.offset_us, row.from_us, row.heard_from_us)
        if known == clock:
            return
    last = ClockOffset.objects.filter(feed=feed).aggregate(last=Max("version"))["last"] or 0
    if row is not None:
        last += 1
        ClockOffset.objects.filter(pk=row.pk).update(version=last)
    ClockOffset.objects.create(
        feed=feed, version=clock.version, offset_us=clock.offset_us, from_us=clock.from_us,
        heard_from_us=clock.heard_from_us, made_at=timezone.now(), made_by=FROM_JOURNAL,
        reason="known from the journal",
    )  # fmt: skip
    newest = max(last, clock.version)
    if newest > feed.clock_version:
        feed.clock_version = newest
        feed.save(update_fields=["clock_version"])
