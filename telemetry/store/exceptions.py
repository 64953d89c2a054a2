"""What stands beside the events: rejects, repeats, gaps, how far files are read."""

from __future__ import annotations

import hashlib
import time

from django.db import connection
from django.db.models import QuerySet

from telemetry import events as decoded
from telemetry.lanes.gathered import Gathered
from telemetry.models import Alarm, Feed, Gap, Reject, Repeat, SourcePosition
from telemetry.store.events import known_keys

LONGEST_GAP_US = 7 * 86_400_000_000  # between the lines around a gap; it is not looked at beyond
_ASTRAY = 1_000  # lines that may stand among those of a gap by time, and are none of it


def save_rejects(feed: Feed, gathered: Gathered) -> int:
    """Stores rejects; returns how many were there already (a source read again)."""
    if not gathered.rejects:
        return 0
    by_key = dict(gathered.rejects)
    known = known_keys("telemetry_reject", "key", feed.pk, list(by_key))
    Reject.objects.bulk_create(
        [_reject(feed, gathered, key, r) for key, r in by_key.items() if key not in known], 500
    )
    return len(gathered.rejects) - len(by_key.keys() - known)


def _reject(feed: Feed, gathered: Gathered, key: str, reject: decoded.Reject) -> Reject:
    return Reject(
        feed=feed,
        key=key,
        source=reject.source[:300],
        position=reject.line,
        reason=reject.reason,
        message=reject.message[:300],
        raw=reject.raw,
        received_us=reject.arrival_us or 0,
        feed_version=gathered.feed_version,
    )


def save_repeats(feed: Feed, gathered: Gathered) -> int:
    """Counts repeated lines by key; returns how many of them were counted before."""
    if not gathered.repeats:
        return 0
    stored = dict(
        Repeat.objects.filter(feed=feed, key__in=list(gathered.repeats)).values_list("key", "times")
    )
    known = 0
    for key, (times, in_all) in gathered.repeats.items():
        before = stored.get(key, 0)
        after = max(before, in_all)
        known += times - (after - before)
        Repeat.objects.update_or_create(feed=feed, key=key, defaults={"times": after})
    return known


def save_gaps(feed: Feed, gathered: Gathered, spans: list[tuple[int | None, int | None]]) -> None:
    """Stores gaps, raises alarms for damage, and drops gaps whose lines have come since."""
    rows = [
        Gap(
            feed=feed,
            key=_key(f"{gap.after_seq}|{gap.before_seq}|{gap.time_us}"),
            kind="seq",
            at_us=gap.time_us,
            first_seq=gap.after_seq + 1,
            last_seq=gap.before_seq - 1,
        )
        for gap in gathered.gaps
    ]
    rows += [
        Gap(feed=feed, key=_key(f"link|{at_us}"), kind="link", at_us=at_us, message=text[:300])
        for at_us, text in gathered.link_gaps
    ]
    if rows:
        Gap.objects.bulk_create(rows, ignore_conflicts=True)
    now_us = time.time_ns() // 1000
    for damage in gathered.damages:
        Alarm.objects.get_or_create(
            feed=feed, code="journal damaged", message=str(damage), defaults={"at_us": now_us}
        )
    for message in gathered.alarms:
        Alarm.objects.get_or_create(
            feed=feed, code="lines missing", message=message[:300], defaults={"at_us": now_us}
        )
    candidates = Gap.objects.none()
    if gathered.gaps:
        candidates = Gap.objects.filter(feed=feed, key__in=[row.key for row in rows])
    drop_filled(feed, candidates)
    for first_us, last_us in spans:
        reach = Gap.objects.filter(feed=feed, kind="seq", at_us__gte=first_us)
        drop_filled(feed, reach.filter(at_us__lte=(last_us or 0) + LONGEST_GAP_US))


def drop_filled(feed: Feed, gaps: QuerySet[Gap]) -> None:
    """Drops gaps whose lines have all come since, late or from a file. They stand right before the
    line that showed the gap, however long before."""
    for gap in gaps:
        if gap.first_seq is None or gap.last_seq is None:
            continue
        missing = gap.last_seq - gap.first_seq + 1
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(DISTINCT seq) FROM (SELECT seq FROM telemetry_event "
                "WHERE feed_id = %s AND at_us BETWEEN %s AND %s ORDER BY at_us DESC LIMIT %s) "
                "AS before WHERE seq BETWEEN %s AND %s",
                [
                    feed.pk, gap.at_us - LONGEST_GAP_US, gap.at_us, missing + _ASTRAY,
                    gap.first_seq, gap.last_seq,
                ],
            )  # fmt: skip
            if cursor.fetchone()[0] == missing:
                gap.delete()


def save_sources(feed: Feed, gathered: Gathered) -> None:
    now_us = time.time_ns() // 1000
    for (path, generation), values in gathered.sources.items():
        SourcePosition.objects.update_or_create(
            feed=feed, path=path, generation=generation, defaults={**values, "changed_us": now_us}
        )


def _key(text: str) -> str:
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()
