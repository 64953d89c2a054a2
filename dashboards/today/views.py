"""The day's page, its moving part, and the lines people leave on it."""

from __future__ import annotations

import hashlib
import logging
from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from django.views.decorators.http import condition, require_safe

from dashboards import data
from dashboards.access import Reader, desk, reader_of
from dashboards.today import rows, undo
from dashboards.today.addresses import Suggested
from dashboards.today.shifts import Choice, chosen, neighbours
from planning.calc.dates import LONG_WEEKDAY, dated
from planning.reports.shapes import Cluster, TableToday, Today
from shopfloor.notes.hand_overs import hand_overs_left
from shopfloor.runs.arcs import from_us
from shopfloor.runs.suggested import Stretch

log = logging.getLogger(__name__)
# The page is drawn anew this often even where nothing came in: now moves on.
TICK_S = 15
LEFT_FOR = timedelta(hours=16)
LATE = 3  # named on a phone before all else
MOST_SUGGESTED = 4
COUNTED = ("good", "scrap", "ordered", "shortage")  # parts; the first two of runs too


@desk()
@require_safe
def today(request: HttpRequest) -> HttpResponseBase:
    now = data.now()
    try:
        choice = chosen(request.GET.get("day", ""), request.GET.get("shift", ""), now)
    except LookupError as missing:
        context = {"missing": str(missing), "day": request.GET.get("day", "")}
        return render(request, "kerfbook/today.html", context, status=404)
    context = _context(request, choice, now) | {"undo": undo.offered(request, now)}
    return render(request, "kerfbook/today.html", context)


def _tag(request: HttpRequest) -> str:
    """Changes with every line that came in, every record changed, and as time goes by."""
    user: Any = request.user
    if not user.is_authenticated:
        return '"stranger"'
    seed = f"{user.pk}.{reader_of(user)}.{data.day_stamp()}.{int(data.now().timestamp()) // TICK_S}"
    return f'"{hashlib.sha256(seed.encode()).hexdigest()[:24]}"'


@desk()
@require_safe
@condition(etag_func=_tag)
def strips(request: HttpRequest) -> HttpResponse:
    """The moving part of the page alone. 304 where nothing moved."""
    now = data.now()
    context = _context(request, chosen("", "", now), now)
    response = HttpResponse(render_to_string("kerfbook/today/_day.html", context, request))
    response["Cache-Control"] = "private, no-store"
    return response


def _context(request: HttpRequest, choice: Choice, now: datetime) -> dict[str, Any]:
    """Everything both the page and its moving part show."""
    reader = reader_of(request.user)
    before, after = neighbours(choice, now)
    day = choice.span.date if choice.span else now.astimezone(data.zone()).date()
    context: dict[str, Any] = {
        "live": choice.live,
        "at": choice.at,
        "before": before,
        "after": after,
        "day": day,
        "may_hand_over": reader.assign,
    }
    context |= _day(choice, reader)
    context["left"] = data.shift_notes(since=choice.at - LEFT_FOR, until=choice.at)
    own = (choice.span.date, choice.span.name) if choice.span else None
    context["handed_over"] = hand_overs_left(choice.at - LEFT_FOR, choice.at, own)
    context["left_by"] = _left_by(choice)
    return context


def _day(choice: Choice, reader: Reader) -> dict[str, Any]:
    try:
        report = data.today(choice.at, over=not choice.live)
        page = rows.page_of(report, reader, _suggested(report, reader), live=choice.live)
        title, sub = rows.heading(report, choice.at, data.zone())
        jobs = report.jobs or ()
        runs = data.runs_between(*rows.window(report, choice.at))
    except Exception:
        log.exception("today at %s", choice.at)
        local = choice.at.astimezone(data.zone())
        title, sub = dated(local, LONG_WEEKDAY), ""
        return {"failed": True, "title": title, "sub": sub}
    late = [job for job in jobs if job.late]
    return {
        "page": page, "title": title, "sub": sub, "jobs": jobs, "runs": runs,
        "late": late[:LATE], "late_more": len(late[LATE:]),
        "jobs_total": {name: sum(getattr(job, name) for job in jobs) for name in COUNTED},
        "runs_total": {name: sum(getattr(run, name) for run in runs) for name in COUNTED[:2]},
    }  # fmt: skip


def _suggested(report: Today, reader: Reader) -> dict[str, Suggested]:
    """For the first loose stretches: the run with about as many contours without an arc, else the
    only nest with about as many contours."""
    if not reader.assign:
        return {}
    keys = [act.target for note in report.notes for act in note.acts if act.code == "assign_arcs"]
    loose = {one.first_key: (table, one) for table in report.tables for one in table.unassigned}
    some = {key: _stretch(*loose[key]) for key in keys[:MOST_SUGGESTED] if key in loose}
    found = {}
    for (key, stretch), suggestions in zip(
        some.items(), data.suggestions(list(some.values())), strict=True
    ):
        for one in suggestions[:1]:
            if one.run is not None:
                found[key] = Suggested(one.nest, stretch.arcs, run_id=str(one.run))
                continue
            fit = [other for other in suggestions if _fits(other.contours, stretch.arcs)]
            if fit == [one]:
                found[key] = Suggested(one.nest, stretch.arcs, revision_id=str(one.revision_id))
    return found


def _stretch(table: TableToday, loose: Cluster) -> Stretch:
    start, end = from_us(loose.from_us), from_us(loose.to_us)
    return Stretch(table.table_id, start, end, loose.arcs, loose.programs)


def _fits(contours: int, arcs: int) -> bool:
    """As many arcs as contours, or a few more for starts that had to be repeated. Where two nests
    fit, neither is offered in one press."""
    return 0 <= arcs - contours <= max(1, round(0.05 * contours))


def _left_by(choice: Choice) -> str:
    """ "the late shift", where one shift came just before this one."""
    moment: datetime = choice.span.start if choice.span else choice.at
    spans = [span for span in data.shifts_near(choice.at, days=2) if span.start < moment]
    return _("the {name} shift").format(name=spans[-1].name) if spans else _("those before")
