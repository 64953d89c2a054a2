"""The strip of the run on the table: burnt, stood, and still to come."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from shopfloor.chart.duties import fitted_set
from shopfloor.models import Run, Segment, Stoppage
from shopfloor.runs.arcs import arcs_between, to_us
from shopfloor.runs.progress import Progress
from shopfloor.site.queries import shop_zone, the_shop
from shopfloor.svg.strip import Arc, Forecast, Planned, StripTable, Svg, zooms
from shopfloor.svg.strip import Run as RunSpan
from shopfloor.svg.strip import Stoppage as Stood
from shopfloor.svg.strip.types import stoppage_kind

LONGEST = timedelta(hours=12)  # of a run on one strip: a run left open over days shows its end


def run_strip(
    *,
    run: Run,
    last: Segment | None,
    title: str,
    progress: Progress,
    now: datetime,
    ends_at: datetime | None,
    range_s: tuple[float, float] | None,
) -> Svg:
    """Zoomed on the run. `ends_at` None: nobody knows, and nothing is drawn as expected."""
    begin = max(run.opened_at, now - LONGEST)
    start_us, now_us = to_us(begin), to_us(now)
    end_us = max(to_us(ends_at) if ends_at else now_us, now_us + 60_000_000)
    rest = [
        float(arc_s)
        for number, arc_s in enumerate(run.plan.get("arcs_s") or [], start=1)
        if number >= progress.first and number not in progress.done
    ]
    bracket = None
    if ends_at is not None and range_s is not None:
        low, high = (to_us(now + timedelta(seconds=one)) for one in range_s)
        bracket = Forecast(low, end_us, max(high, end_us))
    table = StripTable(
        name=run.table.name,
        start_us=start_us,
        end_us=end_us,
        now_us=now_us,
        zone=ZoneInfo(shop_zone()),
        arcs=tuple(
            Arc(arc.on_us, max(arc.off_us or now_us, arc.on_us), "run" if arc.off_us else "open")
            for arc in arcs_between(run.table, start_us, now_us)
        ),
        stoppages=tuple(stood(run, begin, now)),
        sets=(fitted_set(start_us, last.wear_set.duty, ""),) if last else (),
        planned=(Planned(now_us, end_us, title, tuple(rest)),) if ends_at and rest else (),
        forecast=bracket,
    )
    # The page has its clock, which goes on while the strip waits for a connection.
    return zooms(table, RunSpan(start_us, end_us, title, "cutting"), now=False)


def stood(run: Run, begin: datetime, now: datetime) -> list[Stood]:
    found = []
    least = timedelta(seconds=the_shop().ask_reason_after_s)
    rows = Stoppage.objects.filter(table=run.table, started_at__lt=now).select_related("reason")
    for row in rows.exclude(ended_at__lte=begin):
        if (
            row.reason is None
            and row.ended_at is not None
            and row.ended_at - row.started_at < least
        ):
            continue  # a small wait: nobody is asked about it
        start, end = max(row.started_at, begin), min(row.ended_at or now, now)
        minutes = round((end - start).total_seconds() / 60)
        lasted = _("{minutes} min").format(minutes=minutes) if minutes else _("under a minute")
        why = row.reason.label.lower() if row.reason else _("no reason given")
        kind = stoppage_kind(reasoned=row.reason is not None, planned=row.planned)
        found.append(Stood(to_us(start), to_us(end), f"{why}, {lasted}", kind))
    return found
