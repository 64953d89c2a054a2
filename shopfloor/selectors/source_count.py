"""What counting another source's arcs would change, month by month, before anybody does it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Max, Min, Sum

from shopfloor.calendar import day_span
from shopfloor.models import Month, Run, RunState
from shopfloor.selectors.arcs import from_us, to_us
from shopfloor.selectors.shop import shop_zone
from telemetry.models import Feed, Rollup
from telemetry.services import masters_beside


@dataclass(frozen=True, slots=True)
class MonthCounted:
    """A month of one table: arcs and seconds that count now, and those that would. `runs` of it
    would be worked out again; where it is `closed`, the differences go into the open month."""

    first_day: date
    arcs_now: int
    arcs_then: int
    now_s: float
    then_s: float
    runs: int
    closed: bool

    @property
    def same(self) -> bool:
        return (self.arcs_now, self.now_s) == (self.arcs_then, self.then_s)


def count_preview(feed: Feed) -> list[MonthCounted]:
    """The months in which any of the sources concerned burnt, the newest first. Two queries a
    month."""
    masters = [one.pk for one in masters_beside(feed)]
    rows = Rollup.objects.filter(feed__in=[feed.pk, *masters])
    ends = rows.aggregate(first=Min("bucket_us"), last=Max("bucket_us"))
    if ends["first"] is None:
        return []
    zone = ZoneInfo(shop_zone())
    closed = set(Month.objects.exclude(closed_at=None).values_list("first_day", flat=True))
    found = []
    day = from_us(ends["first"]).astimezone(zone).date().replace(day=1)
    while to_us(day_span(day, zone)[0]) <= ends["last"]:
        later = (day.replace(day=28) + timedelta(days=7)).replace(day=1)
        start, end = day_span(day, zone)[0], day_span(later, zone)[0]
        sums: dict[bool, tuple[int, int]] = defaultdict(lambda: (0, 0))
        within = rows.filter(bucket_us__gte=to_us(start), bucket_us__lt=to_us(end)).order_by()
        by_feed = within.values("feed").annotate(n=Sum("arcs"), us=Sum("burn_us"))
        for pk, arcs, us in by_feed.values_list("feed", "n", "us"):
            had = sums[pk == feed.pk]
            sums[pk == feed.pk] = (had[0] + arcs, had[1] + us)
        runs = Run.objects.filter(
            table__code=feed.table, opened_at__gte=start, opened_at__lt=end
        ).exclude(state=RunState.VOIDED)
        (now, now_us), (then, then_us) = sums[False], sums[True]
        found.append(
            MonthCounted(day, now, then, now_us / 1e6, then_us / 1e6, runs.count(), day in closed)
        )
        day = later
    return found[::-1]
