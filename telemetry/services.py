"""Writes that people or other rooms ask for. What intake itself writes is in `telemetry.store`."""

from __future__ import annotations

import hashlib
import secrets
import time

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from telemetry.counted import feed_follows, feed_moves, watching
from telemetry.description import parse_description
from telemetry.errors import DescriptionError
from telemetry.feeds import check_source
from telemetry.models import Alarm, ClockOffset, Feed, FeedVersion, Health, PushToken
from telemetry.paths import NAME


@transaction.atomic
def feed_register(*, name: str, text: str, by: str = "", source_name: str = "") -> Feed:
    """Makes a feed, or gives it a new version where its text changed.

    `text` is the TOML; `source_name` the file it came from, for messages. Raises
    DescriptionError. A running worker takes the new version up by itself, and lines the old one
    could not read are read again.
    """
    if not NAME.match(name):
        raise DescriptionError(
            f"{name!r} cannot name a feed, allowed: up to 60 letters, digits, '.', '_' and '-'"
        )
    description = parse_description(text, name=source_name or name)
    check_source(description, name=source_name or name, text=text)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    feed = Feed.objects.select_for_update().filter(name=name).first()
    if feed is not None:
        current = FeedVersion.objects.get(feed=feed, version=feed.version)
        if current.sha256 == sha256:
            return feed
    torch = description.torch or ""
    others = watching(description.table, torch).filter(master=True)
    if feed is None:
        taken = others.exists()
        feed = Feed(name=name, version=0, master=not taken, created_us=time.time_ns() // 1000)
    elif (feed.table, feed.torch) != (description.table, torch):
        counts = not others.exclude(pk=feed.pk).exists()
        to = description.table, torch
        feed_moves(feed, to, counts=counts, now_us=time.time_ns() // 1000)
    feed.table, feed.torch, feed.kind = description.table, torch, description.source.kind
    feed.version += 1
    feed.full_clean()
    feed.save()
    FeedVersion.objects.create(
        feed=feed, version=feed.version, text=text, sha256=sha256, made_at=timezone.now(),
        made_by=by,
    )  # fmt: skip
    if feed.version == 1:
        feed_follows(feed)
        ClockOffset.objects.create(feed=feed, made_at=timezone.now(), made_by=by)
    return feed


@transaction.atomic
def feed_set_enabled(*, feed: Feed, enabled: bool) -> None:
    feed.enabled = enabled
    feed.save(update_fields=["enabled"])


@transaction.atomic
def clock_correct(
    *,
    feed: Feed,
    offset_us: int,
    from_us: int | None = None,
    heard_from_us: int | None = None,
    by: str = "",
    reason: str = "",
) -> ClockOffset:
    """A new clock version: `offset_us` is added to raw stamps from `from_us` on (None: all), and
    of those only in lines that arrived from `heard_from_us` on (None: any).

    The worker journals it and puts stored events and their arcs right; a rebuild does the same.
    """
    feed = Feed.objects.select_for_update().get(pk=feed.pk)
    last = ClockOffset.objects.filter(feed=feed).aggregate(last=Max("version"))["last"] or 0
    offset = ClockOffset.objects.create(
        feed=feed, version=last + 1, offset_us=offset_us, from_us=from_us,
        heard_from_us=heard_from_us,
        made_at=timezone.now(), made_by=by, reason=reason,
    )  # fmt: skip
    feed.clock_version = offset.version
    feed.save(update_fields=["clock_version"])
    # What was heard under the old clock says nothing of the new one.
    Health.objects.filter(feed=feed).update(lag_us=None, lag_spread_us=None, lag_lines=0)
    return offset


@transaction.atomic
def feed_reread(*, feed: Feed, by: str = "") -> FeedVersion:
    """The description in force once more, as a new version: lines that could not be read are then
    read again by intake, and by any rebuild."""
    feed = Feed.objects.select_for_update().get(pk=feed.pk)
    current = FeedVersion.objects.get(feed=feed, version=feed.version)
    feed.version += 1
    feed.save(update_fields=["version"])
    return FeedVersion.objects.create(
        feed=feed, version=feed.version, text=current.text, sha256=current.sha256,
        made_at=timezone.now(), made_by=by,
    )  # fmt: skip


def alarm_clear(*, alarm: Alarm) -> None:
    Alarm.objects.filter(pk=alarm.pk, cleared_us=None).update(cleared_us=time.time_ns() // 1000)


@transaction.atomic
def push_token_issue(*, feed: Feed, by: str = "") -> str:
    """A new token for a pushed feed; the one before ends. Returned once, kept only as a hash."""
    if feed.kind != "push":
        raise DescriptionError(f"{feed.name}: is a source of kind {feed.kind}, not push")
    now = timezone.now()
    PushToken.objects.filter(feed=feed, ended_at=None).update(ended_at=now)
    token = secrets.token_urlsafe(32)
    PushToken.objects.create(feed=feed, token_hash=_hashed(token), made_at=now, made_by=by)
    return token


def push_token_find(*, feed_name: str, token: str) -> PushToken | None:
    """The token's row where it opens this feed now."""
    found = PushToken.objects.filter(token_hash=_hashed(token), ended_at=None)
    return found.filter(feed__name=feed_name, feed__kind="push").select_related("feed").first()


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
