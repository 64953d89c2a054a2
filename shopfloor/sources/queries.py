"""Signal sources as the office looks at them: which are alive, and what they could not say."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db.models import Count, Max, QuerySet, Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from telemetry.alarms import Standing, standing_alarms
from telemetry.backlog import backlog_bytes
from telemetry.clockwatch import ClockEstimate
from telemetry.models import (
    Alarm,
    ClockOffset,
    Cursor,
    Feed,
    FeedVersion,
    Gap,
    Health,
    Reject,
    Repeat,
)
from telemetry.selectors import clock_estimate, feed_healths

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# Lines that came in bulk tell nothing of a clock: their lags differ by more than a queue's.
ESTIMATE_SPREAD_US = 10_000_000
CLOCK_DIFFERS_S = 15.0  # between this machine and that of the intake
CLOCK_OFF_US = 30_000_000  # our assumption: shorter than any change of nest
SAID = {
    "alive": N_("lines come in"),
    "silent": N_("listened to, but no line has come"),
    "waiting": N_("waiting to open it"),
    "failed": N_("it cannot be read"),
    "off": N_("no intake reads it, unknown"),
    "never": N_("nothing has ever come"),
}


def instant(us: int | None) -> datetime | None:
    """Microseconds since 1970 as a moment."""
    return None if us is None else _EPOCH + timedelta(microseconds=us)


@dataclass(frozen=True, slots=True)
class SourceState:
    """A source and how it stands: `state` as intake judges it, `since` since when, `words` in a
    sentence. Counts are those `status` prints."""

    feed: Feed
    lines: int
    events: int
    duplicates: int
    rejects: int
    gaps: int
    last_line: datetime | None
    state: str
    since: datetime | None
    words: str
    backlog_bytes: int
    behind_us: int | None  # how far its clock seems behind; None where that cannot be told

    @property
    def off_plan(self) -> bool:
        return self.state in ("silent", "failed", "off")

    @property
    def clock_off(self) -> bool:
        """Far enough for arcs to land in the run before or after."""
        return self.behind_us is not None and abs(self.behind_us) > CLOCK_OFF_US


def sources_list(*, why: bool) -> list[SourceState]:
    """Every source, in nine queries. `why`: with the reason why one cannot be read, which names
    paths and folders of the settings and is for who manages sources."""
    return _states(Feed.objects.order_by("table", "name"), why)


def source_state(feed: Feed, *, why: bool) -> SourceState:
    return _states(Feed.objects.filter(pk=feed.pk), why)[0]


def _states(feeds: QuerySet[Feed], why: bool) -> list[SourceState]:
    found = list(feeds)
    ids = [feed.pk for feed in found]
    lines: Any = {
        row["feed"]: row
        for row in Cursor.objects.filter(feed__in=ids)
        .values("feed")
        .annotate(lines=Sum("lines"), events=Sum("events"))
    }
    rejects = _counted(Reject.objects.filter(feed__in=ids, mended_version=None))
    gaps = _counted(Gap.objects.filter(feed__in=ids, kind="seq"))
    repeats = dict(
        Repeat.objects.filter(feed__in=ids)
        .order_by()
        .values_list("feed")
        .annotate(total=Sum("times"))
    )
    backlog, behind = backlog_bytes(found), _behind(ids)
    healths = feed_healths(found)
    rows = []
    for feed in found:
        health = healths[feed]
        count = lines.get(feed.pk, {})
        words = _("switched off") if not feed.enabled else _(SAID.get(health.state, health.state))
        rows.append(
            SourceState(
                feed=feed,
                lines=count.get("lines") or 0,
                events=count.get("events") or 0,
                duplicates=repeats.get(feed.pk, 0),
                rejects=rejects.get(feed.pk, 0),
                gaps=gaps.get(feed.pk, 0),
                last_line=instant(health.last_line_us),
                state=health.state if feed.enabled else _("switched off"),
                since=instant(health.since_us),
                words=f"{words}: {health.message}" if why and health.state == "failed" else words,
                backlog_bytes=backlog[feed.pk],
                behind_us=behind.get(feed.pk),
            )
        )
    return rows


def _behind(ids: list[int]) -> dict[int, int]:
    """By feed how far its clock seems behind, where its lines scatter little enough to tell."""
    rows = Health.objects.filter(feed__in=ids, lag_spread_us__lte=ESTIMATE_SPREAD_US)
    return {feed: lag for feed, lag in rows.values_list("feed", "lag_us") if lag is not None}


def _counted(rows: QuerySet[Reject] | QuerySet[Gap]) -> dict[int, int]:
    return dict(rows.order_by().values_list("feed").annotate(total=Count("pk")))


def source_rejects(feed: Feed, *, open_only: bool = True) -> QuerySet[Reject]:
    """Lines that could not be read, the newest first."""
    rejects = Reject.objects.filter(feed=feed)
    if open_only:
        rejects = rejects.filter(mended_version=None)
    return rejects.order_by("-received_us", "-pk")


def reject_reasons(feed: Feed) -> list[tuple[str, int]]:
    """How many open rejects of each reason, the most first."""
    rows = (
        Reject.objects.filter(feed=feed, mended_version=None)
        .order_by()
        .values_list("reason")
        .annotate(total=Count("pk"))
        .order_by("-total")
    )
    return [(reason, total) for reason, total in rows]


def source_gaps(feed: Feed, most: int = 50) -> list[tuple[Gap, datetime | None]]:
    return [
        (gap, instant(gap.at_us)) for gap in Gap.objects.filter(feed=feed).order_by("-at_us")[:most]
    ]


def source_versions(feed: Feed) -> QuerySet[FeedVersion]:
    return feed.versions.order_by("-version")


def source_clock(feed: Feed) -> tuple[ClockEstimate | None, list[tuple[ClockOffset, float]]]:
    """How far its clock seems off (arrival minus stamp), and what was added to its stamps so far
    in seconds, the newest first."""
    offsets = feed.clock_offsets.order_by("-version")
    estimate = clock_estimate(feed)
    if estimate is not None and estimate.spread_us > ESTIMATE_SPREAD_US:
        estimate = None
    return estimate, [(offset, offset.offset_us / 1e6) for offset in offsets]


def source_jumped_at(feed: Feed) -> datetime | None:
    """When its clock jumped, by an alarm that still stands."""
    alarm = Alarm.objects.filter(feed=feed, code="clock jump", cleared_us=None).first()
    return None if alarm is None else instant(alarm.at_us)


def source_alarms(feed: Feed | None = None, *, why: bool) -> list[tuple[Standing, datetime | None]]:
    """What a person must look at, of one source or of the whole intake; `why` as in
    `sources_list`."""
    alarms = standing_alarms()
    if not why:
        alarms = [replace(alarm, message=alarm.public) for alarm in alarms]
    if feed is not None:
        alarms = [alarm for alarm in alarms if alarm.source in ("", feed.name)]
    return [(alarm, instant(alarm.since_us)) for alarm in alarms[:20]]


def intake_age_s() -> float | None:
    """Seconds since any source last showed that the intake lives; None where none ever did, or
    where the clock was set back since, so that nobody can tell."""
    beat = Health.objects.aggregate(beat=Max("beat_us"))["beat"]
    if beat is None:
        return None
    age_s = time.time() - beat / 1e6
    return None if age_s < -CLOCK_DIFFERS_S else round(max(0.0, age_s), 1)
