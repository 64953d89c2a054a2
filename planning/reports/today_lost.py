"""A table's pace, opened: run by run, and minutes lost by cause where its time is fitted. A key is
that of `today_figures`."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from typing import Final

from django.utils.translation import gettext as _

from planning.calc.ahead.draws import Spent
from planning.calc.numbers import filled
from planning.calc.said import said
from planning.reports.figure import Figure, Part, Ref
from planning.reports.today_figures import Shown, shown_at
from planning.reports.today_pace import PacePoint, paced, spent
from planning.reports.today_standard import Times
from shopfloor.wording.quantity import Remark, seconds, text

S: Final = 1_000_000
RULE_PACE = said("planned time of the contours burnt, less the time there was for them")
RULE_USUAL = said(
    "what this table's own runs usually take for the work done, with loading, changes and stops, "
    "less the staffed time there was for it; breaks and planned stops are no part of it"
)
LEAST_US: Final = S // 2


def pace(key: str) -> Figure:
    """How far a table is ahead of its plan, or behind it: run by run."""
    shown = shown_at(key)
    found = paced(shown.data, shown.window, shown.staffed)
    if found is None:
        rule = _("no planned contour was seen burnt, or an open run has no plan")
        return shown.figure("pace", text(_("pace unknown"), "unknown"), rule, [])
    if found.standard.stored is not None:
        return _against_usual(shown, found)
    parts = [
        Part(
            _("plan of what {nest} burnt").format(nest=run.nest),
            seconds(found.done_us[run.run_id] / S, "planned"),
            Ref("run", str(run.run_id)),
        )
        for run in shown.data.runs
        if run.run_id in found.done_us
    ]
    done_us = sum(found.done_us.values())
    parts.append(Part(_("Planned time done"), seconds(done_us / S), total=True))
    since = found.until_us - shown.window.start_us
    begin, end = shown.clock(shown.window.start_us), shown.clock(found.until_us)
    parts.append(
        Part(
            _("{begin} to {end}, the last planned arc").format(begin=begin, end=end),
            seconds(since / S),
        )
    )
    lost_us = found.lost_us(found.until_us)
    if lost_us:
        parts.append(Part(_("planned stops, runs without a plan, no shift"), seconds(-lost_us / S)))
    parts.append(Part(_("Time there was for it"), seconds((since - lost_us) / S), total=True))
    ahead = found.at(found.steps[-1]).ahead_min
    value = filled(
        (_("{ahead:,.0f} min ahead of plan") if ahead > 0 else _("{ahead:,.0f} min behind plan")),
        ahead=abs(ahead),
    )
    return shown.figure("pace", text(value, "measured"), RULE_PACE, parts)


def _against_usual(shown: Shown, found: PacePoint) -> Figure:
    """By cause, then by run: both come to how far it is ahead."""
    took = spent(shown.data, found)
    parts = [*_by_cause(found, took), *_by_run(shown, found, took)]
    last = found.at(found.steps[-1])
    if abs(last.ahead_min) <= last.usual_min:
        value = (
            _("as usual: {minutes:,.0f} min ahead")
            if last.ahead_min > 0
            else _("as usual: {minutes:,.0f} min behind")
        )
    else:
        value = (
            _("{minutes:,.0f} min ahead") if last.ahead_min > 0 else _("{minutes:,.0f} min behind")
        )
    words = filled(value, minutes=abs(last.ahead_min))
    return shown.figure("pace", text(words, "measured"), RULE_USUAL, parts)


def _sum(times: Iterable[Times]) -> Times:
    found: Times = {}
    for own in times:
        for kind, us in own.items():
            found[kind] = found.get(kind, 0) + us
    return found


def _by_cause(found: PacePoint, took: dict[uuid.UUID, Times]) -> Iterator[Part]:
    allowed, went = _sum(found.allowed.values()), _sum(took.values())
    for kind, name in _names().items():
        if max(allowed.get(kind, 0), went.get(kind, 0)) < LEAST_US:
            continue
        us = allowed.get(kind, 0) - went.get(kind, 0)
        note = Remark(
            _("{} allowed, {} taken"),
            (seconds(allowed.get(kind, 0) / S), seconds(went.get(kind, 0) / S)),
        )
        yield Part(name, seconds(us / S, "measured", change=True), notes=(note,))
    yield _whole(found)


def _whole(found: PacePoint) -> Part:
    ahead_s = found.at(found.steps[-1]).ahead_min * 60
    return Part(_("Ahead, or behind"), seconds(ahead_s, change=True), total=True)


def _by_run(shown: Shown, found: PacePoint, took: dict[uuid.UUID, Times]) -> Iterator[Part]:
    for run in shown.data.runs:
        allowed, went = found.allowed.get(run.run_id, {}), took.get(run.run_id, {})
        if not allowed and not went:
            continue
        us = sum(allowed.values()) - sum(went.values())
        worst = min(
            _names(), key=lambda kind: allowed.get(kind, 0) - went.get(kind, 0), default=Spent.CUT
        )
        lost = allowed.get(worst, 0) - went.get(worst, 0)
        note = Remark(_names()[worst] + ": {}", (seconds(lost / S, change=True),))
        yield Part(
            run.nest,
            seconds(us / S, "measured", change=True),
            Ref("run", str(run.run_id)),
            (note,) if lost < -LEAST_US else (),
        )
    yield _whole(found)


def _names() -> dict[Spent, str]:
    return {
        Spent.CUT: _("cutting"),
        Spent.STOP: _("stoppages"),
        Spent.LOAD: _("loading"),
        Spent.UNLOAD: _("unloading"),
        Spent.GAP: _("waits between runs"),
        Spent.CHANGE: _("set changes"),
        Spent.BORDER: _("start of the shift"),
    }
