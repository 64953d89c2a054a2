"""Whose arcs count at which time, where several sources watch the same torch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from django.db import transaction
from django.db.models import Model, Q, QuerySet

from telemetry.models import CountedSpan, Feed
from telemetry.read_once import once

Row = TypeVar("Row", bound=Model)


def counted(rows: QuerySet[Row], at: str = "on_us") -> QuerySet[Row]:
    """Of rows that belong to a feed (arcs, quarter hours, gaps) those that count; `at` is their
    column of time, microseconds UTC. A source that never took over from another counts always or
    never."""
    spans = once(_spans)
    if not spans:
        return rows.filter(feed__master=True)
    wanted = Q(feed__master=True) & ~Q(feed__in={feed for feed, _, _ in spans})
    for feed, from_us, until_us in spans:
        own = Q(feed=feed)
        if from_us is not None:
            own &= Q(**{f"{at}__gte": from_us})
        if until_us is not None:
            own &= Q(**{f"{at}__lt": until_us})
        wanted |= own
    return rows.filter(wanted)


def _spans() -> list[tuple[int, int | None, int | None]]:
    return list(CountedSpan.objects.values_list("feed_id", "from_us", "until_us"))


def feeds_counted() -> QuerySet[Feed]:
    """Sources whose arcs count now or counted once."""
    return Feed.objects.filter(Q(master=True) | Q(pk__in=CountedSpan.objects.values("feed")))


def counted_spans(feeds: Sequence[Feed]) -> dict[int, list[tuple[int | None, int | None]]]:
    """By feed id, from when until when each counts; None is without an end."""
    found: dict[int, list[tuple[int | None, int | None]]] = {}
    for span in CountedSpan.objects.filter(feed__in=feeds).order_by("from_us"):
        found.setdefault(span.feed_id, []).append((span.from_us, span.until_us))
    for feed in feeds:
        if feed.pk not in found:
            found[feed.pk] = [(None, None)] if feed.master else []
    return found


def watching(table: str, torch: str) -> QuerySet[Feed]:
    """Sources whose arcs could be those of this torch; one that names torches line by line ("")
    may speak of any."""
    feeds = Feed.objects.filter(table=table)
    return feeds.filter(torch__in=(torch, "")) if torch else feeds


def masters_beside(feed: Feed) -> list[Feed]:
    """The sources whose arcs would no longer be summed if this one's were."""
    return list(watching(feed.table, feed.torch).filter(master=True).exclude(pk=feed.pk))


@transaction.atomic
def feed_set_master(*, feed: Feed, from_us: int | None = None) -> None:
    """Of the sources that watch one torch of a table, this one's arcs are summed, from `from_us`
    on; before it those that were are still. None: in all of history."""
    feeds = list(watching(feed.table, feed.torch).select_for_update())
    spans = counted_spans(feeds)
    CountedSpan.objects.filter(feed__in=feeds).delete()
    if from_us is not None:
        spans[feed.pk] = [*_until(spans[feed.pk], from_us), (from_us, None)]
        for other in feeds:
            if other.pk != feed.pk:
                spans[other.pk] = _until(spans[other.pk], from_us)
        CountedSpan.objects.bulk_create(
            CountedSpan(feed_id=pk, from_us=start, until_us=end)
            for pk, own in spans.items()
            for start, end in _joined(own)
        )
    Feed.objects.filter(pk__in=[one.pk for one in feeds]).update(master=False)
    feed.master = True
    feed.save(update_fields=["master"])


def feed_counts(feed: Feed, *, counts: bool, now_us: int) -> None:
    """A source that moved to another torch counts there, or no longer, from now on."""
    feed.master = counts
    spans = counted_spans([feed])[feed.pk]
    if not CountedSpan.objects.filter(feed=feed).delete()[0]:
        return
    kept = _until(spans, now_us) + ([(now_us, None)] if counts else [])
    CountedSpan.objects.bulk_create(
        CountedSpan(feed=feed, from_us=start, until_us=end) for start, end in _joined(kept)
    )


def _until(
    spans: list[tuple[int | None, int | None]], at_us: int
) -> list[tuple[int | None, int | None]]:
    """What of these spans lies before a moment."""
    return [
        (start, at_us if end is None else min(end, at_us))
        for start, end in spans
        if start is None or start < at_us
    ]


def _joined(
    spans: list[tuple[int | None, int | None]],
) -> list[tuple[int | None, int | None]]:
    """Spans in order, one that begins where another ends made one with it."""
    found: list[tuple[int | None, int | None]] = []
    for start, end in spans:
        if found and found[-1][1] == start:
            found[-1] = (found[-1][0], end)
        else:
            found.append((start, end))
    return found
