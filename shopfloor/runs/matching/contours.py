"""Which contour of its nest each arc of a run was. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from shopfloor.runs.matching.types import ArcInput, Decision, Planned, Span

# An arc shorter than this share of its plan may be a cut that failed; our assumption.
SHORT = 0.6
# An arc within this share of a contour's plan fits it; covers an override of 80 to 125 %.
FITS = 0.25
# An arc of at least this share of the longest of a contour's arcs cut it through.
WHOLE = 0.9


def number_runs(
    spans: Sequence[Span], holding: dict[int, list[ArcInput]]
) -> tuple[dict[str, Decision], dict[int, tuple[int, int | None]]]:
    runs: dict[str, list[Span]] = defaultdict(list)
    for span in spans:
        runs[span.run].append(span)
    decisions: dict[str, Decision] = {}
    contours: dict[int, tuple[int, int | None]] = {}
    for run in runs.values():
        following = run[0].first_contour
        burnt: dict[int, list[tuple[ArcInput, Decision]]] = defaultdict(list)
        for span in run:
            first = following if span.follows_on else span.first_contour
            last = None
            for arc, decision in number(span, holding[span.id], first):
                decisions[arc.key] = decision
                if decision.contour is not None:
                    last = decision.contour
                    if not decision.repeat:
                        burnt[last].append((arc, decision))
            contours[span.id] = (first, last)
            following = last + 1 if last is not None else first
        for contour, several in burnt.items():
            if len(several) > 1:
                whole = _whole(several, _planned(run[0].plan, contour))
                for arc, decision in several:
                    decisions[arc.key] = replace(decision, repeat=arc.key != whole)
    return decisions, contours


def _whole(several: Sequence[tuple[ArcInput, Decision]], planned: Planned | None) -> str:
    """Of a contour's arcs the one that cut it: the first that is as good as the longest, or one
    still burning where none so far is as long as planned."""
    longest = max(arc.seconds or 0.0 for arc, _ in several)
    still = [arc.key for arc, _ in several if arc.off_us is None]
    plan_s = planned.seconds if planned is not None else None
    if still and (not plan_s or longest < WHOLE * plan_s):
        return still[-1]
    return next(arc.key for arc, _ in several if (arc.seconds or 0.0) >= WHOLE * longest)


def number(span: Span, arcs: Sequence[ArcInput], first: int) -> list[tuple[ArcInput, Decision]]:
    """A segment's arcs with their contours, by order. See the rules above for what is a repeat
    and what cannot be known."""
    found = []
    contour = first
    for index, arc in enumerate(arcs):
        planned = _planned(span.plan, contour)
        if span.plan and planned is None:
            found.append((arc, Decision(arc.key, span.id)))
            continue
        after = arcs[index + 1] if index + 1 < len(arcs) else None
        again = planned is not None and (
            _is_misfire(arc, planned)
            or _failed(arc, after, planned, _planned(span.plan, contour + 1))
        )
        found.append((arc, Decision(arc.key, span.id, contour, again)))
        contour += 0 if again else 1
    return found


def _planned(plan: Sequence[Planned], contour: int) -> Planned | None:
    return plan[contour - 1] if 1 <= contour <= len(plan) else None


def _is_misfire(arc: ArcInput, planned: Planned) -> bool:
    """Seen to burn and end without a pierce, where the source would have told of one."""
    return arc.pierces == 0 and planned.pierces > 0 and arc.off_us is not None


def _failed(
    arc: ArcInput, after: ArcInput | None, planned: Planned, following: Planned | None
) -> bool:
    """Too short for its contour, and the next arc fits this contour but not the one after."""
    seconds, plan_s = arc.seconds, planned.seconds
    if seconds is None or not plan_s or seconds >= SHORT * plan_s:
        return False
    if after is None or after.seconds is None or not _fits(after.seconds, plan_s):
        return False
    return following is None or (
        following.seconds is not None and not _fits(after.seconds, following.seconds)
    )


def _fits(seconds: float, plan_s: float) -> bool:
    return abs(seconds - plan_s) <= FITS * plan_s
