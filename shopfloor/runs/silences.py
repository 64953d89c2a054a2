"""When a table's source could not be heard: the time in between is unknown, not idle."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Max, Min, OuterRef, Q, Subquery

from planning.calc.entered import Entry
from planning.calc.spans import Span, intersect, subtract, union
from shopfloor.models import EnteredCount, Table
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.site.calendar import day_span, shifts_between, unset_dates
from shopfloor.site.queries import shift_patterns, shop_zone
from telemetry.counted import counted_spans, feeds_counted
from telemetry.models import Arc, CountedSpan, Cursor, Event, Feed, Gap

BEAT_LATE_US = 90_000_000  # a worker writes its beat far more often than this
_AFTER_US = 3_600_000_000  # the line that shows a gap comes within an hour of the link
_DOWN = re.compile(r"down for ([0-9.]+) s")
_FIRST = Event.objects.filter(feed=OuterRef("pk")).order_by("at_us").values("at_us")[:1]
# In an index's order: PostgreSQL would look for just any arc by reading the table from its start.
_BURNT = Arc.objects.filter(feed=OuterRef("pk")).order_by("torch", "on_us").values("on_us")[:1]


@dataclass(frozen=True, slots=True)
class SourceSilence:
    """What is known of a table's source. `silent_since_us` is set while it is silent now;
    `listens` is False where no source is set up, and then nothing is measured at all. Before
    `from_us` there was no source yet: that time is no silence of it. Between `from_us` and its
    first line it was silent. `entries` are what people entered for it, until lines come."""

    listens: bool
    silences: tuple[Span, ...]
    silent_since_us: int | None
    feed: str
    from_us: int = 0
    entries: tuple[Entry, ...] = ()


def source_silences(
    tables: Iterable[Table], start_us: int, end_us: int, now: datetime
) -> dict[str, SourceSilence]:
    """By table code, over [start, end). Five queries, and two or three for each link
    that came back. Where several sources counted, each is asked about its own time."""
    wanted = {table.code: table for table in tables}
    once = CountedSpan.objects.filter(table__in=wanted)  # by sources that watch another now, too
    feeds = list(
        feeds_counted()
        .filter(Q(table__in=wanted) | Q(pk__in=once.values("feed")))
        .select_related("health")
        .annotate(first_us=Subquery(_FIRST), burnt_us=Subquery(_BURNT))
    )
    spans = counted_spans(feeds)
    gaps: dict[int, list[Span]] = {}
    rows = Gap.objects.filter(feed__in=feeds, kind="link", at_us__gte=start_us).order_by("at_us")
    for feed_id, at_us, message in rows.values_list("feed_id", "at_us", "message"):
        gaps.setdefault(feed_id, []).extend(_unheard(feed_id, at_us, message))
    last_line = _last_lines(feeds)
    found = {code: SourceSilence(False, ((start_us, end_us),), None, "") for code in wanted}
    for feed in feeds:
        own = _Source(feed, last_line.get(feed.pk), gaps.get(feed.pk, []), to_us(now))
        for since_us, until_us, table, _ in spans[feed.pk]:
            window = max(start_us, since_us or start_us), min(end_us, until_us or end_us)
            if (until_us is None and not feed.enabled) or window[0] >= window[1]:
                continue
            if table in wanted:
                heard = own.heard(window, since_us=since_us, counts_now=until_us is None)
                found[table] = _both(found[table], heard)
    entries = entries_of(wanted, start_us, end_us)
    return {code: replace(heard, entries=tuple(entries[code])) for code, heard in found.items()}


class _Source:
    """When one source was not heard."""

    def __init__(self, feed: Feed, last_line_us: int | None, gaps: list[Span], now_us: int) -> None:
        first_us: int | None = vars(feed)["first_us"]
        heard = last_line_us is not None or vars(feed)["burnt_us"] is not None
        self.feed, self._since = feed, _silent_since(feed, last_line_us, now_us, heard=heard)
        self._begun_us = feed.created_us if first_us is None else min(feed.created_us, first_us)
        self._spans = gaps + ([(self._since, now_us)] if self._since is not None else [])
        if first_us is not None:
            self._spans.append((self._begun_us, first_us))

    def heard(self, window: Span, *, since_us: int | None, counts_now: bool) -> SourceSilence:
        """Within a window; where it took over from another it is silent until it begins."""
        spans, begin = self._spans, max(window[0], self._begun_us)
        if since_us is not None and since_us < self._begun_us:
            spans, begin = [*spans, (since_us, self._begun_us)], window[0]
        clipped = union((max(a, begin), min(b, window[1])) for a, b in spans)
        since = self._since if counts_now else None
        begun_us = max(self._begun_us, since_us or self._begun_us)
        return SourceSilence(True, tuple(clipped), since, self.feed.name, begun_us)


def _both(one: SourceSilence, other: SourceSilence) -> SourceSilence:
    """Of two sources of one table: silent where either was."""
    if not one.listens:
        return other
    silent = [at for at in (one.silent_since_us, other.silent_since_us) if at is not None]
    return SourceSilence(
        True,
        tuple(union([*one.silences, *other.silences])),
        min(silent, default=None),
        other.feed if other.silent_since_us is not None else one.feed,
        min(one.from_us, other.from_us),
    )


def silences_at_work(table: Table, start_us: int, end_us: int, now: datetime) -> list[Span]:
    """Silences of a table's source within its shifts: nothing is known of them, so they are no sign
    that nothing burnt. A night in which nobody worked is, whether it was heard or not."""
    if end_us <= start_us:
        return []
    heard = source_silences([table], start_us, end_us, now)[table.code]
    if not heard.listens or not heard.silences:
        return []
    start, end = from_us(start_us), from_us(end_us)
    patterns, zone = shift_patterns(), ZoneInfo(shop_zone())
    shifts = shifts_between(start, end, patterns, zone)
    work = [(shift.start, shift.end) for shift in shifts if shift.at_table(table.code)]
    dates = (each.astimezone(zone).date() for each in (start, end))
    work += [day_span(day, zone) for day in unset_dates(patterns, *dates)]
    worked = union((to_us(begun), to_us(ended)) for begun, ended in work)
    return intersect(list(heard.silences), worked)


def entries_of(
    tables: Iterable[str], start_us: int, end_us: int | None = None
) -> dict[str, list[Entry]]:
    """What was entered for torches of these tables and no lines have replaced, by table code."""
    rows = EnteredCount.objects.filter(
        torch__table__code__in=list(tables), replaced_at=None, ended_at__gt=from_us(start_us)
    ).order_by("started_at", "pk")
    if end_us is not None:
        rows = rows.filter(started_at__lt=from_us(end_us))
    found: dict[str, list[Entry]] = defaultdict(list)
    fields = "torch__table__code", "torch__code", "started_at", "ended_at", "starts", "arc_s"
    for code, torch, begun, ended, starts, arc_s in rows.values_list(*fields):
        span = to_us(begun), to_us(ended)
        found[code].append(Entry(torch, span, starts, round(arc_s * 1_000_000)))
    return found


def _unheard(feed_id: int, back_us: int, message: str) -> list[Span]:
    """What of a silence no line has told of since: a file read in later fills it. Where the source
    numbers its lines and none is missing, all of it is told."""
    silence = (_began(feed_id, back_us, message), back_us)
    told = Event.objects.filter(feed=feed_id, at_us__gt=silence[0], at_us__lt=back_us)
    found = told.aggregate(first=Min("at_us"), last=Max("at_us"), numbered=Min("seq"))
    if found["first"] is None:
        return [silence]
    around = Gap.objects.filter(feed=feed_id, kind="seq", at_us__gt=silence[0])
    missing = around.filter(at_us__lte=back_us + _AFTER_US).exists()
    if found["numbered"] >= 0 and not missing:
        return []
    return subtract([silence], [(found["first"], found["last"])])


def _last_lines(feeds: Sequence[Feed]) -> dict[int, int]:
    latest: dict[int, int] = {}
    rows = Cursor.objects.filter(feed__in=feeds).values_list("feed_id", "last_line_us")
    for feed_id, at_us in rows:
        if at_us is not None:
            latest[feed_id] = max(at_us, latest.get(feed_id, at_us))
    return latest


def _began(feed_id: int, back_us: int, message: str) -> int:
    """When a link that came back at `back_us` went away: as it said, else at the last arc."""
    if said := _DOWN.search(message):
        return back_us - round(float(said[1]) * 1_000_000)
    arc = (
        Arc.objects.filter(feed_id=feed_id, on_us__lt=back_us)
        .order_by("-on_us")
        .values_list("on_us", "off_us")
        .first()
    )
    return back_us if arc is None else min(back_us, arc[1] or arc[0])


def _silent_since(feed: Feed, last_line_us: int | None, now_us: int, *, heard: bool) -> int | None:
    """None while the source is heard. A source nobody listens to is known up to its last line; one
    that never gave a byte is silent since it was set up, however good its link."""
    health = getattr(feed, "health", None)
    if not heard and (health is None or health.last_byte_us is None):
        return feed.created_us
    if health is None:
        return last_line_us
    if health.link == "open" and now_us - health.beat_us < BEAT_LATE_US:
        return None
    signs = [at for at in (health.last_byte_us, last_line_us) if at is not None]
    if health.link == "open":
        signs.append(health.beat_us)
    return max(signs) if signs else max(int(health.since_us), feed.created_us)
