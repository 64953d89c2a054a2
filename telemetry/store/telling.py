"""Whether arcs know their pierces, where descriptions of one feed differ in that."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from telemetry.description import Description, parse_description
from telemetry.models import Feed, FeedVersion


def tells_pierces(feed: Feed, versions: Iterable[int], *, now: bool) -> dict[int, bool]:
    """Of arcs by the version their beginning was read under. `now` is so of the one in force, and
    of all that read lines: what they refused is read again by a later one. Of a poll only the
    version it came under says whether its counter was looked at."""
    others = set(versions) - {feed.version}
    tells = dict.fromkeys([*others, feed.version], now)
    if others:
        rows = FeedVersion.objects.filter(feed=feed, version__in=others)
        for version, text in rows.values_list("version", "text"):
            description = _parsed(text)
            if description.is_level:
                tells[version] = description.knows.pierces
    return tells


@lru_cache(64)
def _parsed(text: str) -> Description:
    return parse_description(text)
