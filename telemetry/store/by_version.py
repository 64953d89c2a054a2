"""What depends on the version of a feed's description that lines were read under."""

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
    for version, description in _descriptions(feed, others).items():
        if description.is_level:
            tells[version] = description.knows.pierces
    return tells


def tables_of(feed: Feed, versions: Iterable[int]) -> dict[int, str]:
    """The table each version of the description names. An arc belongs to the table its beginning
    was read at, wherever the source has moved since."""
    wanted = set(versions)
    tables = dict.fromkeys(wanted, feed.table)
    found = _descriptions(feed, wanted).items()
    return tables | {version: description.table for version, description in found}


def _descriptions(feed: Feed, versions: set[int]) -> dict[int, Description]:
    if not versions:
        return {}
    rows = FeedVersion.objects.filter(feed=feed, version__in=versions)
    return {version: _parsed(text) for version, text in rows.values_list("version", "text")}


@lru_cache(256)
def _parsed(text: str) -> Description:
    return parse_description(text)
