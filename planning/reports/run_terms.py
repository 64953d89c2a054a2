"""A run's time opened: its terms, and each term down to the arcs, pauses and stops it is of."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo
from numbers import Real
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc import spent
from planning.calc.dates import timed_s
from planning.calc.itemised import Item, itemised
from planning.calc.said import said
from planning.inputs.runs import load_runs
from planning.inputs.types import RunIn
from planning.reports.figure import Figure, Part, Ref, shortened
from planning.reports.run import run_detail
from planning.reports.shapes import RunDetail
from planning.services.entered_runs import entries_within
from shopfloor.models import Run, RunState
from shopfloor.runs.arcs import from_us
from shopfloor.site.queries import the_shop
from shopfloor.wording.quantity import Reading, Remark, say, seconds

S = 1_000_000
RULES = {
    spent.CUTTING: said("arc time after the pierce, of arcs that made a contour"),
    spent.PIERCING: said("from arc on to the pierce line of its source"),
    spent.CUTTING_WITH_PIERCING: said(
        "arc time; the source tells of no pierces, so the two are one"
    ),
    spent.TRAVEL: said("pauses between arcs, up to twice their planned travel"),
    spent.WAITS: said("pauses beyond the planned travel, without a reason"),
    spent.TRAVEL_WITH_WAITING: said("pauses between arcs; not every arc's contour is known"),
    spent.LOADING_WITH_WAITING: said("before the first arc and after the last"),
    spent.REPEATS: said("arcs that made nothing: misfires, and contours burnt again"),
    spent.STOPPAGES: said("stoppages with or without a reason, where nothing burnt"),
    spent.UNKNOWN: said("the source was silent"),
    spent.ENTERED_BURNING: said("burnt while the source was silent, as somebody entered it"),
    spent.ENTERED_REST: said("the rest of the time that was entered"),
    spent.ALL_BUT_STOPPAGES: said("typed in, so only its length and its stoppages are known"),
}


def run(key: str) -> Figure:
    found = run_detail(run_id=key)
    over = found.closed_at is not None
    parts = [
        Part(
            str(row.term),
            seconds(_known(row.actual_s), _word(str(row.term), found.evidence)),
            Ref("run_term", f"{found.run_id}:{row.term}"),
            _planned(_known(row.planned_s)),
        )
        for row in found.terms.itertuples()
    ]
    parts.append(Part(_("Elapsed") if over else _("So far"), seconds(found.elapsed_s), total=True))
    rule = _("elapsed time of its segments and stoppages")
    if found.planned_s is not None:
        words = (
            _("elapsed time of its segments and stoppages; the plan says {planned}")
            if over
            else _(
                "elapsed time of its segments and stoppages; the plan says {planned} when it is "
                "finished"
            )
        )
        rule = words.format(planned=say(seconds(found.planned_s), Reading()))
    value = seconds(found.elapsed_s, found.evidence)
    page = Ref("run", found.run_id)
    label = _("{nest} on {table}").format(nest=found.nest, table=found.table)
    return Figure(Ref("run", key), label, value, rule, tuple(parts), page=page)


def _planned(planned_s: float | None) -> tuple[Remark, ...]:
    return () if planned_s is None else (Remark(N_("plan {}"), (seconds(planned_s),)),)


def _known(value: Any) -> float | None:
    return float(value) if isinstance(value, Real) else None


def _word(term: str, evidence: str) -> str:
    if term == spent.UNKNOWN:
        return "unknown"
    return "entered" if term in spent.ENTERED else evidence


def run_term(key: str) -> Figure:
    """A term of a run down to the arcs, pauses and stops it is made of; they sum to it."""
    run_id, _sep, term = key.partition(":")
    found = run_detail(run_id=run_id)
    own = [row for row in found.terms.itertuples() if row.term == term]
    if not own:
        raise LookupError(_("run {run_id} has no term {term!r}").format(run_id=run_id, term=term))
    planned_s, over_s = _known(own[0].planned_s), _known(own[0].over_s)
    parts, counted_s = _items(found, term)
    total_s = _known(own[0].actual_s) if found.closed_at or not parts else counted_s
    parts.append(Part(_("Total"), seconds(total_s), total=True))
    if planned_s is not None:
        beyond = Remark("{} beyond it", (seconds(over_s, change=True),))
        parts.append(Part(_("Planned"), seconds(planned_s, "planned"), notes=(beyond,)))
    return Figure(
        Ref("run_term", f"{found.run_id}:{term}"),
        _("{term} of {nest}").format(term=term, nest=found.nest),
        seconds(total_s, _word(term, found.evidence)),
        RULES.get(term, ""),
        tuple(parts),
        page=Ref("run", found.run_id),
    )


def _items(found: RunDetail, term: str) -> tuple[list[Part], float]:
    """What the term's time was, piece by piece, and its sum in seconds. Of an entered run only its
    stops are known. A run that goes on is not held against its plan yet."""
    [loaded] = load_runs(Run.objects.filter(pk=found.run_id), now=timezone.now())
    if not loaded.measured:
        return (_stops(found) if term == spent.STOPPAGES else []), 0.0
    plan = loaded.plan if loaded.state == RunState.FINISHED else None
    burns = [arc.burn for arc in loaded.arcs]
    items = itemised(
        loaded.windows,
        burns,
        [(stop.from_us, stop.to_us) for stop in loaded.stoppages],
        loaded.silences,
        pierces_known=term in (spent.CUTTING, spent.PIERCING),
        planned_arc_us=plan.arc_by_contour_us if plan else None,
        travel_us=plan.travel_by_contour_us if plan else None,
        entries=entries_within(loaded),
    ).get(term, [])
    counted_s = sum(item.us for item in items) / S
    if term == spent.STOPPAGES:
        return _stops(found, items), counted_s
    zone = ZoneInfo(the_shop().zone)
    ordered = sorted(items, key=lambda item: item.from_us)
    return shortened([_item(item, loaded, zone) for item in ordered]), counted_s


def _item(item: Item, loaded: RunIn, zone: tzinfo) -> Part:
    begun = timed_s(from_us(item.from_us).astimezone(zone))
    if item.burn is None:
        return Part(_("from {begun}").format(begun=begun), seconds(item.us / S))
    arc = loaded.arcs[item.burn]
    made = (
        _("no contour")
        if arc.contour is None
        else _("contour {contour}").format(contour=arc.contour)
    )
    rest = () if item.us == arc.us else (Remark("of an arc of {}", (seconds(arc.us / S),)),)
    value = seconds(item.us / S, "measured")
    return Part(f"{begun}, {made}", value, Ref("arc", arc.key), rest)


def _stops(found: RunDetail, items: Sequence[Item] = ()) -> list[Part]:
    """Stoppages as they were entered; what burnt in them, or two at once, is taken off."""
    parts, whole_s = [], 0.0
    for stop in found.stoppages.itertuples():
        value = _known(stop.seconds)
        whole_s += value or 0.0
        reason = str(stop.reason) or _("no reason given yet")
        parts.append(Part(reason, seconds(value, str(stop.evidence))))
    counted_s = sum(item.us for item in items) / S
    if items and abs(whole_s - counted_s) >= 0.05:
        taken = seconds(counted_s - whole_s, "measured")
        parts.append(Part(_("burnt meanwhile, or outside the run's time"), taken))
    return parts
