"""What counting another source's arcs from a day on would change, before anybody does it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Max, Min, QuerySet, Sum
from django.utils.translation import gettext as _

from shopfloor.models import Month, Run, RunState
from shopfloor.runs.arcs import from_us, to_us
from shopfloor.runs.run_page import LONGEST
from shopfloor.site.calendar import day_span, shifts_between
from shopfloor.site.queries import shift_patterns, shop_zone
from telemetry.counted import counted, counted_or_watching
from telemetry.models import Feed, Rollup

_QUARTER = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class MonthCounted:
    """A month of one table, from the day on: arcs and seconds that count now, and those that
    would; `runs` of it would be worked out again."""

    first_day: date
    arcs_now: int
    arcs_then: int
    now_s: float
    then_s: float
    runs: int

    @property
    def same(self) -> bool:
        return (self.arcs_now, self.now_s) == (self.arcs_then, self.then_s)


def first_open_day() -> date | None:
    """The day after the last closed month; None where none is closed."""
    last = Month.objects.exclude(closed_at=None).aggregate(day=Max("first_day"))["day"]
    return None if last is None else _next_month(last)


def day_refused(table: str, day: date, now: datetime) -> str:
    """In words, why no other source can count from that day on; blank where one can."""
    earliest = first_open_day()
    if earliest is not None and day < earliest:
        return _(
            "Choose {earliest} or a later day: the months before it can no longer change."
        ).format(earliest=earliest)
    return _("That day has not started yet.") if count_begins(table, day) > now else ""


def count_begins(table: str, day: date) -> datetime:
    """When a day of the shop begins at a table: midnight, or the end of the shift that began the
    evening before, on a full quarter hour."""
    midnight = day_span(day, ZoneInfo(shop_zone()))[0]
    shifts = shifts_between(midnight, midnight + _QUARTER, shift_patterns(), ZoneInfo(shop_zone()))
    ends = [shift.end for shift in shifts if shift.date < day and shift.at_table(table)]
    begin = max([midnight, *ends])
    return begin + (from_us(0) - begin) % _QUARTER


def count_preview(feed: Feed, day: date) -> list[MonthCounted]:
    """The months from a day on in which any of the sources concerned burnt, the newest first.
    Four queries a month."""
    begin = count_begins(feed.table, day)
    rows = Rollup.objects.filter(
        feed__in=counted_or_watching(feed), table=feed.table, bucket_us__gte=to_us(begin)
    )
    ends = rows.aggregate(first=Min("bucket_us"), last=Max("bucket_us"))
    if ends["first"] is None:
        return []
    zone = ZoneInfo(shop_zone())
    found = []
    first = max(from_us(ends["first"]).astimezone(zone).date(), day).replace(day=1)
    while to_us(start := max(begin, day_span(first, zone)[0])) <= ends["last"]:
        end = day_span(_next_month(first), zone)[0]
        within = rows.filter(bucket_us__gte=to_us(start), bucket_us__lt=to_us(end)).order_by()
        now, now_us = _sums(counted(within, at="bucket_us"))
        then, then_us = _sums(within.filter(feed=feed))
        runs = _runs(feed.table, start, end)
        found.append(MonthCounted(first, now, then, now_us / 1e6, then_us / 1e6, runs))
        first = _next_month(first)
    return found[::-1]


def _runs(table: str, start: datetime, end: datetime) -> int:
    """How many runs of a table were going in [start, end). Those that have ended are looked for
    among the runs begun a while before it, so that the months before are left unread."""
    begun = Run.objects.filter(table__code=table, opened_at__lt=end)
    ended = begun.filter(opened_at__gte=start - LONGEST, closed_at__gt=start)
    going = begun.filter(closed_at=None, state__in=(RunState.OPEN, RunState.STOPPED))
    return ended.exclude(state=RunState.VOIDED).count() + going.count()


def _sums(rows: QuerySet[Rollup]) -> tuple[int, int]:
    sums = rows.aggregate(n=Sum("arcs"), us=Sum("burn_us"))
    return sums["n"] or 0, sums["us"] or 0


def _next_month(day: date) -> date:
    return (day.replace(day=28) + timedelta(days=7)).replace(day=1)
