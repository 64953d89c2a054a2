"""Entries that can be taken back, and late ones that say otherwise than the books."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from shopfloor.actions.kinds import KINDS
from shopfloor.actions.undo import WINDOW
from shopfloor.models import Action, ActionState, JobLine, Terminal
from shopfloor.runs.queries import open_conflicts, recent_actions
from shopfloor.terminal.words import day_clock


@dataclass(frozen=True, slots=True)
class Undo:
    id: UUID
    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class Clash:
    head: str
    message: str
    mine: str
    theirs: str


def kind_said(action: Action) -> str:
    kind = KINDS.get(action.kind)
    return _(kind.label) if kind else action.kind


def last_undo(terminal: Terminal, now: datetime) -> Undo | None:
    """The newest entry of this screen that still stands; the service says whether it may go."""
    for action in recent_actions(terminal=terminal):
        if now - action.received_at > WINDOW:
            break
        if action.state == ActionState.APPLIED and action.kind != "undo":
            return Undo(action.pk, action.kind, f"{kind_said(action)} {day_clock(action.at, now)}")
    return None


def clashes(now: datetime) -> list[Clash]:
    found = list(open_conflicts())
    lines = line_names(found)
    return [
        Clash(
            head=f"{action.person.shown_name} {kind_said(action)} {day_clock(action.at, now)}",
            message=str(action.result.get("message", "")),
            mine=side_words(action.result.get("mine"), lines, action.kind, now),
            theirs=side_words(action.result.get("theirs"), lines, action.kind, now),
        )
        for action in found
    ]


def line_names(actions: list[Action]) -> dict[int, str]:
    ids = {
        int(part["line"])
        for action in actions
        for side in ("mine", "theirs")
        for part in (action.result.get(side) or {}).get("parts") or []
    }
    rows = JobLine.objects.filter(pk__in=ids).select_related("job")
    return {row.pk: f"{row.job.number} {row.part}" for row in rows}


def side_words(side: Any, lines: dict[int, str], kind: str, now: datetime) -> str:
    """K-2284 base plate: 18 good, 1 scrap. By whom, where it is said. Of a start: when."""
    side = side if isinstance(side, dict) else {}
    at = parse_datetime(str(side.get("at") or ""))
    if kind == "start":
        return _("started {at} by {by}").format(
            at=day_clock(at, now) if at else "", by=side.get("by")
        )
    parts = [
        _("{line}: {good} good").format(
            line=lines.get(int(part["line"]), "a line"), good=part.get("good", 0)
        )
        + "".join(f", {part[name]} {name}" for name in ("scrap", "rework") if part.get(name))
        for part in side.get("parts") or []
    ]
    by = f" ({side['by']})" if side.get("by") not in (None, "", "unknown") else ""
    return ("; ".join(parts) or _("nothing counted")) + by
