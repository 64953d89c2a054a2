"""Reads stored rejects again once the description of their feed is mended."""

from __future__ import annotations

from django.db.models import QuerySet

from telemetry.decode.general import Decoder
from telemetry.decode.lines import KEEP_BYTES
from telemetry.description import Description, parse_description
from telemetry.events import Event
from telemetry.models import Feed, FeedVersion, Reject

# Half lines and lines cut for their length hold less than was sent: never guessed at.
_NEVER = ("half line", "too long", "too late")


def reread_rejects(feed: Feed, version: int) -> list[Event]:
    """What the new version makes of lines that older ones refused; marks those lines mended."""
    mended: list[Event] = []
    text = FeedVersion.objects.get(feed=feed, version=version).text
    description = parse_description(text, name=feed.name)
    if description.is_level:
        return mended  # what a poll means hangs on the one before it: see `rebuild`
    for reject in _waiting(feed).filter(feed_version__lt=version).iterator():
        raw = bytes(reject.raw)
        if len(raw) >= KEEP_BYTES:
            continue
        events = _read(description, raw, reject)
        if not events:
            continue
        mended += events
        reject.mended_version = version
        reject.save(update_fields=["mended_version"])
    return mended


def mendable(feed: Feed, text: str, most: int = 5_000) -> tuple[int, int]:
    """(lines looked at, those a description would read now), of the latest that were refused;
    stores nothing. Raises DescriptionError."""
    description = parse_description(text, name=feed.name)
    rejects = _waiting(feed).order_by("-received_us", "-pk")[:most]
    good = [
        reject for reject in rejects
        if len(bytes(reject.raw)) < KEEP_BYTES and _is_read(description, reject)
    ]  # fmt: skip
    return len(rejects), len(good)


def _is_read(description: Description, reject: Reject) -> bool:
    """Of a bare contact: whether its poll is read; alone it is no edge."""
    raw = bytes(reject.raw)
    if not description.is_level:
        return bool(_read(description, raw, reject))
    batch = Decoder(description).feed_block(
        raw + b"\n", position=0, arrival_us=reject.received_us, source=reject.source
    )
    return bool(batch.lines) and not batch.rejects


def _waiting(feed: Feed) -> QuerySet[Reject]:
    return Reject.objects.filter(feed=feed, mended_version=None).exclude(reason__in=_NEVER)


def _read(description: Description, raw: bytes, reject: Reject) -> list[Event]:
    decoder = Decoder(description)
    batch = decoder.feed_block(
        raw + b"\n",
        position=0,
        arrival_us=reject.received_us,
        source=reject.source,
    )
    rest = decoder.flush()
    return [*batch.events, *batch.late, *rest.events, *rest.late]
