"""All that a person must look at, in one list: what intake has noted, and what can be seen now.
Pages, `status` and `/healthz` read it and nothing else."""

from __future__ import annotations

import shutil
import time
from dataclasses import dataclass

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from telemetry.locks import is_held
from telemetry.models import Alarm, Feed, Health
from telemetry.paths import lock_path
from telemetry.selectors import FeedHealth, feed_healths

NOT_RUNNING = N_("intake not running")
BEAT_LATE = N_("intake hangs")
SILENT = N_("source silent")
NOT_READ = N_("source not read")
STUCK = N_("source stuck")
DISK = N_("disk nearly full")
# Noted where they happen; here so that their labels are translated.
NOTED = (
    N_("journal damaged"), N_("journal fault"), N_("lines missing"), N_("collector clock"),
    N_("collector lost records"),
)  # fmt: skip
_BEAT_LATE_US = 30_000_000
_SETTLES_US = 60_000_000  # a port that was pulled, or an intake that starts anew, is given so long
# Our assumption: days of lines of many tables, and room to compress and to back up.
_LEAST_BYTES, _SHARE, _ENOUGH_BYTES = 1 << 30, 0.05, 10 << 30


@dataclass(frozen=True, slots=True)
class Standing:
    """An alarm that stands. `code` says what for in two or three words and names nothing of the
    shop; `source` is a feed's name, "" for all of intake. `pk` is set where a person can say that
    it has been seen to; the others go when what they are about does."""

    code: str
    source: str
    message: str
    since_us: int | None
    pk: int | None = None

    @property
    def public(self) -> str:
        """The message for who does not manage sources: no path, and no folder of the settings."""
        return _("it cannot be read") if self.code in (NOT_READ, STUCK) else self.message


def standing_alarms(now_us: int | None = None) -> list[Standing]:
    """Those of intake as a whole first, then the newest. Three queries, and a lock a source."""
    now_us = time.time_ns() // 1000 if now_us is None else now_us
    feeds = list(Feed.objects.filter(enabled=True).select_related("health"))
    healths = {feed.pk: feed.health for feed in feeds if hasattr(feed, "health")}
    noted = [
        Standing(row.code, row.feed.name if row.feed else "", row.message, row.at_us, row.pk)
        for row in Alarm.objects.filter(cleared_us=None).select_related("feed").order_by("-at_us")
    ]
    return [
        *_intake(feeds, healths, now_us),
        *_disk(),
        *noted,
        *_sources(feeds, healths, noted, now_us),
    ]


def _intake(feeds: list[Feed], healths: dict[int, Health], now_us: int) -> list[Standing]:
    feeds = [feed for feed in feeds if now_us - feed.created_us > _SETTLES_US]
    if not feeds:
        return []
    beats = [healths[feed.pk].beat_us for feed in feeds if feed.pk in healths]
    newest = max(beats, default=None)
    if newest is not None and abs(now_us - newest) <= _BEAT_LATE_US:
        return []
    if not any(is_held(lock_path(feed.name, "live")) for feed in feeds):
        message = _("no process reads any source: nothing is measured, and ports lose lines")
        return [Standing(NOT_RUNNING, "", message, None if newest is None else min(newest, now_us))]
    message = _("intake runs, but has not said how it is for half a minute or more")
    return [Standing(BEAT_LATE, "", message, None if newest is None else min(newest, now_us))]


def _disk() -> list[Standing]:
    try:
        disk = shutil.disk_usage(settings.DATA_DIR)
    except OSError as error:
        return [
            Standing(
                DISK,
                "",
                _("the data folder cannot be looked at: {error}").format(error=error),
                None,
            )
        ]
    if disk.free >= max(_LEAST_BYTES, min(disk.total * _SHARE, _ENOUGH_BYTES)):
        return []
    free = f"{disk.free / (1 << 30):.1f} GB"
    return [
        Standing(DISK, "", _("{free} are left where the data folder lies").format(free=free), None)
    ]


def _sources(
    feeds: list[Feed], healths: dict[int, Health], noted: list[Standing], now_us: int
) -> list[Standing]:
    said = {one.source for one in noted if one.code == STUCK}
    found = []
    for feed, health in feed_healths(feeds, now_us, healths).items():
        code = _code_of(health, now_us)
        if code and feed.name not in said:
            found.append(Standing(code, feed.name, _words(health), health.since_us))
    return found


def _code_of(health: FeedHealth, now_us: int) -> str:
    if health.state == "silent":
        return SILENT
    if health.state == "failed":
        return NOT_READ
    since_us = health.since_us
    waits = health.state == "waiting" and since_us is not None
    if waits and since_us is not None and now_us - since_us > _SETTLES_US:
        return NOT_READ
    return ""


def _words(health: FeedHealth) -> str:
    return health.message or _("it is listened to, and no line has come for ten minutes")
