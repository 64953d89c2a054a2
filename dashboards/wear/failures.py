"""Failures of all torches against what was expected, in words and as a drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dashboards import data
from planning.calc.dates import DAY, dated
from planning.calc.life.air import Excess
from planning.calc.numbers import filled
from planning.reports.failures import FailuresBoard, SetLook, Week
from shopfloor.svg.counted import Counted, counted_figure

WIDTHS = 358, 560


@dataclass(frozen=True, slots=True)
class LookRow:
    """One set, or all torches, over its weeks, as the page says it."""

    look: SetLook
    name: str
    chance: str
    verdict: str


def context(board: FailuresBoard | None) -> dict[str, Any]:
    """What the section of failures is made of; "failures" is None before anything was counted."""
    if board is None:
        return {"failures": None}
    rows = [LookRow(one, one.wear_set or _("all torches"), in_100(one.excess.chance),
                    verdict(one.excess)) for one in board.looks]  # fmt: skip
    whole = [one for one in board.looks if one.set_id is None]
    lead = min(whole, key=lambda one: one.excess.year or 1.0, default=None)
    note = _note(board.looks)
    return {
        "failures": board,
        "failure_rows": rows,
        "failure_lead": "" if lead is None else f"{lead_words(lead)} {advice(lead.excess)}",
        "failure_note": note,
        "failures_drawn": _drawn(board) if rows else [],
    }


def in_100(chance: float | None) -> str:
    """2 in 100, 4 in 1,000."""
    if chance is None:
        return _("unknown")
    if chance >= 0.995:
        return _("nearly certain")
    if chance >= 0.0095:
        return _("{n} in 100").format(n=round(chance * 100))
    if chance >= 0.00095:
        return _("{n} in 1,000").format(n=round(chance * 1000))
    return _("less than 1 in 1,000")


def lead_words(look: SetLook) -> str:
    """9 failed in the last 14 days where about 4 were expected (chance of that: 2 in 100)."""
    found = look.excess
    pattern = ngettext(
        "{n} failed in the last {days} days where about {expected:.1f} were expected "
        "(chance of so many or more: {chance}).",
        "{n} failed in the last {days} days where about {expected:.1f} were expected "
        "(chance of so many or more: {chance}).",
        found.seen,
    )
    return filled(
        pattern, n=found.seen, days=look.days, expected=found.expected, chance=in_100(found.chance)
    )


def verdict(found: Excess) -> str:
    if found.rare:
        return _("more than chance")
    if found.unlikely:
        return _("rare, watch it")
    return _("as usual")


def advice(found: Excess) -> str:
    """What to make of all torches' failures, for somebody who looks all year."""
    year = in_100(found.year)
    if found.rare:
        return _(
            "That is more than chance: in a whole year of looking at every set it comes about in "
            "{year} years. Drain the water and check the dryer before you buy parts."
        ).format(year=year)
    if found.unlikely:
        return _(
            "Rare for one look, but who looks all year sees it by chance in {year} years: watch it."
        ).format(year=year)
    return _("No more than chance explains.")


def _note(looks: Sequence[SetLook]) -> dict[str, str] | None:
    """For the margin, where something is more than chance: all torches first."""
    rare = [one for one in looks if one.excess.rare]
    if not rare:
        return None
    first = rare[0]
    head = filled(
        _("{n} failures in {days} days, {expected:.1f} expected"),
        n=first.excess.seen, days=first.days, expected=first.excess.expected,
    )  # fmt: skip
    if first.set_id is None:
        return {"kind": "now", "head": head, "body": advice(first.excess)}
    body = _(
        "Only {wear_set} fails more than chance explains. Look at its parts and how it is run "
        "before the air, which every torch has in common."
    ).format(wear_set=first.wear_set)
    return {"kind": "now", "head": head, "body": body}


def _drawn(board: FailuresBoard) -> list[str]:
    known = [week for week in board.weeks if week.whole is not None]
    if not known:
        return []
    zone = data.zone()
    ticks = [(_s(week.start), dated(week.start.astimezone(zone), DAY)) for week in known[::2]]

    def up(which: int) -> list[tuple[float, float]]:
        return [(_s(known[0].start), 0.0), *((_s(week.end), week.whole[which]) for week in known
                                             if week.whole is not None)]  # fmt: skip

    told = Counted(
        first=_s(known[0].start),
        last=_s(known[-1].end),
        failed=[_s(at) for at in board.failed_at if at >= known[0].start],
        expected=up(0),
        low=up(1),
        high=up(2),
        wet=[_middle(week) for week in known if week.undrained],
        ticks=ticks,
        more=any(one.excess.rare for one in board.looks if one.set_id is None),
    )
    return [counted_figure(told, width) for width in WIDTHS]


def _s(at: datetime) -> float:
    return at.timestamp()


def _middle(week: Week) -> float:
    return (_s(week.start) + _s(week.end)) / 2
