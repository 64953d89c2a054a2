"""Whose arcs count at which time and table, where several sources watch the same torch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, TypeVar

from django.db import transaction
from django.db.models import F, Max, Model, Q, QuerySet

from telemetry.models import CountedSpan, Feed
from telemetry.read_once import once

Row = TypeVar("Row", bound=Model)


def counted(
    rows: QuerySet[Row], at: str = "on_us", *, heard_at: str | None = None
) -> QuerySet[Row]:
    """Of rows that belong to a feed (arcs, quarter hours, gaps) those that count; `at` is their
    column of time, microseconds UTC. A source that never took over from another counts always or
    never. `heard_at` keeps to a table, for rows that do not name theirs: a source can have moved.
    """
    spans = once(_spans)
    always = Q(feed__master=True)
    if heard_at is not None:
        always &= Q(feed__table=heard_at)
    if not spans:
        return rows.filter(always)
    wanted = always & ~Q(feed__in={span.feed_id for span in spans})
    for span in spans:
        if heard_at not in (None, span.table):
            continue
        own = Q(feed=span.feed_id)
        if span.from_us is not None:
            own &= Q(**{f"{at}__gte": span.from_us})
        if span.until_us is not None:
            own &= Q(**{f"{at}__lt": span.until_us})
        wanted |= own
    return rows.filter(wanted)


def _spans() -> list[CountedSpan]:
    return list(CountedSpan.objects.order_by(F("from_us").asc(nulls_first=True)))


def feeds_counted() -> QuerySet[Feed]:
    """Sources whose arcs count now or counted once."""
    return Feed.objects.filter(Q(master=True) | Q(pk__in=CountedSpan.objects.values("feed")))


class Span(NamedTuple):
    """When a feed counts, microseconds UTC, None being without an end, and at which table and
    torch, "" where it names torches line by line."""

    from_us: int | None
    until_us: int | None
    table: str
    torch: str

    def within(self, feed: Feed) -> bool:
        """Whether what it counted there could be of the torch that a feed watches now."""
        return self.table == feed.table and (
            self.torch == feed.torch or not (self.torch and feed.torch)
        )


def counted_spans(feeds: Sequence[Feed]) -> dict[int, list[Span]]:
    """By feed id, from when until when each counts, and where."""
    found: dict[int, list[Span]] = {}
    wanted = {feed.pk for feed in feeds}
    for row in once(_spans):
        if row.feed_id in wanted:
            own = Span(row.from_us, row.until_us, row.table, row.torch)
            found.setdefault(row.feed_id, []).append(own)
    for feed in feeds:
        if feed.pk not in found:
            found[feed.pk] = [Span(None, None, feed.table, feed.torch)] if feed.master else []
    return found


def watching(table: str, torch: str) -> QuerySet[Feed]:
    """Sources whose arcs could be those of this torch; one that names torches line by line ("")
    may speak of any."""
    feeds = Feed.objects.filter(table=table)
    return feeds.filter(torch__in=(torch, "")) if torch else feeds


def spans_at(table: str, torch: str) -> QuerySet[CountedSpan]:
    """Times in which a source counted that watched this torch then, wherever it is now."""
    spans = CountedSpan.objects.filter(table=table)
    return spans.filter(torch__in=(torch, "")) if torch else spans


def counted_or_watching(feed: Feed) -> QuerySet[Feed]:
    """Sources that watch the torch of this one, and those that counted there once."""
    here = Q(pk__in=watching(feed.table, feed.torch).values("pk"))
    return Feed.objects.filter(here | Q(pk__in=spans_at(feed.table, feed.torch).values("feed")))


def masters_beside(feed: Feed) -> list[Feed]:
    """The sources whose arcs would no longer be summed if this one's were."""
    return list(watching(feed.table, feed.torch).filter(master=True).exclude(pk=feed.pk))


@transaction.atomic
def feed_set_master(*, feed: Feed, from_us: int) -> None:
    """Of the sources that watch one torch of a table, or watched it once, this one's arcs are
    summed from `from_us` on; before it those that were are still. What they counted at other
    torches stays."""
    feeds = list(counted_or_watching(feed).select_for_update())
    spans = counted_spans(feeds)
    CountedSpan.objects.filter(feed__in=feeds).delete()
    for pk, own in spans.items():
        here = [span for span in own if span.within(feed)]
        elsewhere = [span for span in own if not span.within(feed)]
        kept = [*elsewhere, *_until(here, from_us)]
        if pk == feed.pk:
            came_us = max((span.until_us or 0 for span in elsewhere), default=from_us)
            kept.append(Span(max(from_us, came_us), None, feed.table, feed.torch))
        _save(pk, kept)
    watching(feed.table, feed.torch).update(master=False)
    feed.master = True
    feed.save(update_fields=["master"])


def feed_follows(feed: Feed) -> None:
    """A new source counts from when the last one that counted at its torch left it. What it hears
    of before is counted already. The feed is saved."""
    last_us = spans_at(feed.table, feed.torch).aggregate(last=Max("until_us"))["last"]
    if feed.master and last_us is not None:
        _save(feed.pk, [Span(last_us, None, feed.table, feed.torch)])


def feed_moves(feed: Feed, to: tuple[str, str], *, counts: bool, now_us: int) -> None:
    """A source that moves to another table and torch, `to`, counts there, or does not, from now on.
    What it counted before was counted where it was. The feed is still to be saved."""
    kept = _until(counted_spans([feed])[feed.pk], now_us)
    if counts:
        kept.append(Span(now_us, None, *to))
    CountedSpan.objects.filter(feed=feed).delete()
    _save(feed.pk, kept)
    feed.master = counts


def _save(feed_id: int, spans: Sequence[Span]) -> None:
    CountedSpan.objects.bulk_create(
        CountedSpan(feed_id=feed_id, **span._asdict()) for span in _joined(spans)
    )


def _until(spans: Sequence[Span], at_us: int) -> list[Span]:
    """What of these spans lies before a moment."""
    return [
        span._replace(until_us=at_us if span.until_us is None else min(span.until_us, at_us))
        for span in spans
        if span.from_us is None or span.from_us < at_us
    ]


def _joined(spans: Sequence[Span]) -> list[Span]:
    """Spans in order, one that begins where another of its torch ends made one with it."""
    found: list[Span] = []
    for span in spans:
        if found and found[-1][1:] == (span.from_us, span.table, span.torch):
            found[-1] = found[-1]._replace(until_us=span.until_us)
        else:
            found.append(span)
    return found
