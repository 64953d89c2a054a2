"""Late entries that say otherwise than the books, both sides of each, line by line."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from shopfloor.actions.kinds import KINDS
from shopfloor.models import Action, ActionState, JobLine, Run, SignInEnd, Table
from shopfloor.runs.queries import open_conflicts

AFTER_SHOWN = timedelta(days=14)
OUTCOMES = ("good", "scrap", "rework")


@dataclass(slots=True)
class LineSides:
    """Counts of one line as the late entry has them, and as they stand; None: not counted there."""

    line: JobLine
    mine: dict[str, int] | None = None
    theirs: dict[str, int] | None = None

    @property
    def differs(self) -> bool:
        return self.mine != self.theirs


@dataclass(frozen=True, slots=True)
class LateEntry:
    """One entry in doubt. `at` is the deed by the shop's clock, `device_at` what the device said,
    `received_at` when it came in."""

    action: Action
    run: Run | None
    their_name: str
    their_at: datetime | None
    lines: list[LineSides] = field(default_factory=list)

    @property
    def clock_off_s(self) -> int:
        """Whole seconds: what a delivery takes is no clock that is off."""
        return round(self.action.device_offset_ms / 1000)


def late_entries() -> list[LateEntry]:
    """Oldest first; three queries, whatever their number."""
    actions = list(open_conflicts())
    mine = {action.pk: _side(action, "mine") for action in actions}
    runs = {
        str(run.pk): run
        for run in Run.objects.filter(pk__in=[side.get("run") for side in mine.values()])
        .select_related("table", "revision__nest", "sheet")
        .defer("plan", "revision__program")
    }
    ids = {
        int(part["line"])
        for action in actions
        for name in ("mine", "theirs")
        for part in _side(action, name).get("parts") or []
    }
    lines = JobLine.objects.select_related("job").in_bulk(ids)
    return [
        LateEntry(
            action=action,
            run=runs.get(str(mine[action.pk].get("run"))),
            their_name=str(_side(action, "theirs").get("by") or "unknown"),
            their_at=parse_datetime(str(_side(action, "theirs").get("at") or "")),
            lines=_sides(action, lines),
        )
        for action in actions
    ]


def decided_lately(limit: int = 10) -> list[Action]:
    """The last entries somebody decided on, newest first, with `result["resolved"]`."""
    rows = Action.objects.filter(decided_at__isnull=False).exclude(state=ActionState.UNDONE)
    # People come by a statement of their own: joined, SQLite would begin with them.
    return list(rows.prefetch_related("person").order_by("-received_at")[:limit])


@dataclass(frozen=True, slots=True)
class After:
    """An entry that came in after its maker's sign-in had ended: what, where and how it ended."""

    action: Action
    label: str
    table: str
    ended: str
    message: str


def came_after(*, now: datetime, limit: int = 50) -> list[After]:
    """Those of the last two weeks, newest first, taken or not."""
    flagged = Action.objects.filter(flag__in=SignInEnd.values)
    rows = flagged.filter(received_at__gte=now - AFTER_SHOWN)
    found = list(rows.select_related("person", "terminal").order_by("-received_at")[:limit])
    names = dict(Table.objects.values_list("code", "name"))
    return [
        After(
            action=one,
            label=_(KINDS[one.kind].label) if one.kind in KINDS else one.kind,
            table=names.get(str(one.payload.get("table")), "unknown"),
            ended=str(SignInEnd(one.flag).label),
            message=str(one.result.get("message") or ""),
        )
        for one in found
    ]


def _sides(action: Action, lines: dict[int, JobLine]) -> list[LineSides]:
    found: dict[int, LineSides] = {}
    for name in ("mine", "theirs"):
        for part in _side(action, name).get("parts") or []:
            line = lines.get(int(part["line"]))
            if line is not None:
                counts = {outcome: int(part.get(outcome) or 0) for outcome in OUTCOMES}
                setattr(found.setdefault(line.pk, LineSides(line)), name, counts)
    return sorted(found.values(), key=lambda one: (one.line.job.number, one.line.number))


def _side(action: Action, name: str) -> dict[str, Any]:
    side = action.result.get(name)
    return side if isinstance(side, dict) else {}
