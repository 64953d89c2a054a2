"""What cuts on the table now, as words and a strip."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from shopfloor.models import Run, Segment, Sheet, Stoppage
from shopfloor.runs.floor.loose_arcs_card import lost_since
from shopfloor.runs.floor.run_strip import run_strip
from shopfloor.runs.progress import Progress, progress_of
from shopfloor.runs.queries import left_s as plan_left_s
from shopfloor.runs.stoppages import NOT_SIGNED_IN
from shopfloor.svg.strip import Svg
from shopfloor.terminal.words import Facts, about, clock, nest_title, part_names

# An arc that burns this many times its plan, or this long without one, has lost its end rather
# than that it burns still: our assumption.
STILL, LONGEST_S = 3.0, 3600.0


@dataclass(frozen=True, slots=True)
class Cutting:
    run: Run
    title: str
    what: str
    count: str
    evidence: str
    strip: Svg
    progress: Progress
    restart_at: int

    @property
    def payload(self) -> str:
        return json.dumps({"run": str(self.run.pk)})


@dataclass(frozen=True, slots=True)
class Stopped:
    since: datetime
    reason: str
    words: str
    unnamed: bool  # entered by somebody who was not signed in


def cutting_of(run: Run, facts: Facts, last: Segment | None, now: datetime) -> Cutting:
    """`last`: the run's last segment."""
    progress = progress_of(run)
    minute = now.replace(second=0, microsecond=0)
    left_s = plan_left_s(run, progress.reached, progress.contours, progress.first)
    title = nest_title(run.revision, facts)
    if not progress.listens or progress.all_seen or (progress.unplaced and not progress.done):
        left_s = None  # nothing says how far the run is, or nothing of it is left
    low_high = range_of(run, left_s)
    ends_at = minute + timedelta(seconds=left_s) if left_s is not None else None
    return Cutting(
        run=run,
        title=title,
        what=what_of(run, facts),
        count=count_words(progress, left_s, low_high),
        evidence=evidence_of(run, progress, ends_at, now),
        strip=run_strip(
            run=run,
            last=last,
            title=title,
            progress=progress,
            now=minute,
            ends_at=ends_at,
            range_s=low_high,
        ),
        progress=progress,
        restart_at=restart_at(progress, last),
    )


def what_of(run: Run, facts: Facts) -> str:
    """Base plate, 20 mm S355, program k-2284-2.nc. Sheet S-1187, heat 4B-7730."""
    nest, sheet = run.revision.nest, run.sheet
    parts = [part_names(facts), f"{nest.thickness_text} {nest.material.name}"]
    made = ", ".join(part for part in parts if part)
    program = _("{made}, program {file_name}.").format(made=made, file_name=run.revision.file_name)
    return f"{program} {_plate(sheet)}"


def _plate(sheet: Sheet | None) -> str:
    if sheet is None:
        return _("Sheet not scanned.")
    if sheet.heat is None:
        return _("Sheet {sheet}, heat unknown.").format(sheet=sheet.code)
    return _("Sheet {sheet}, heat {heat}.").format(sheet=sheet.code, heat=sheet.heat.number)


def range_of(run: Run, left_s: float | None) -> tuple[float, float] | None:
    """The plan's range, where planning put one into the run's snapshot (low and high of actual
    over plan); None where none is known."""
    low_high = (run.plan.get("snapshot") or {}).get("factor_range")
    if left_s is None or not isinstance(low_high, list) or len(low_high) != 2:
        return None
    return left_s * float(low_high[0]), left_s * float(low_high[1])


def count_words(
    progress: Progress, left_s: float | None, low_high: tuple[float, float] | None
) -> str:
    if progress.all_seen:
        return _("{progress}, every contour seen burnt").format(progress=progress.words)
    if left_s is None:
        return (
            _("{progress}, time left unknown").format(progress=progress.words)
            if progress.listens
            else progress.words
        )
    if low_high is None:
        return _("{progress}, {left_s} left").format(progress=progress.words, left_s=about(left_s))
    low, high = (round(one / 60) for one in low_high)
    return _("{progress}, {left_s} left ({low}–{high})").format(
        progress=progress.words, left_s=about(left_s), low=low, high=high
    )


def evidence_of(run: Run, progress: Progress, ends_at: datetime | None, now: datetime) -> str:
    """What the count rests on, with its age, and when the end is expected: a sentence each."""
    lost = _lost(run, progress, now)
    said = [_("Began {opened_at}.").format(opened_at=clock(run.opened_at))]
    said.append(_arc_words(run, progress, now, lost))
    if ends_at is not None and lost is None:
        said.append(_("Ends about {ends_at}.").format(ends_at=clock(ends_at)))
    return " ".join(said)


def _arc_words(run: Run, progress: Progress, now: datetime, lost: datetime | None) -> str:
    """What is known of the last arc. `lost`: since when the signal is silent while one burns."""
    arc, zone = progress.latest, run.opened_at.tzinfo
    if arc is None:
        return _("No arc seen yet.")
    if arc.off_us is not None:
        seen = datetime.fromtimestamp(arc.off_us / 1e6, tz=zone)
        return _("Last arc ended {seen}.").format(seen=clock(seen))
    lit = datetime.fromtimestamp(arc.on_us / 1e6, tz=zone)
    if _overdue(progress, lit, now):
        return _("An arc of {lit} has no end yet.").format(lit=clock(lit))
    if lost is not None:
        return _(
            "An arc of {lit} has no end, and nothing came from the signal since {lost}."
        ).format(lit=clock(lit), lost=clock(lost))
    return _("The torch burns now.")


def _lost(run: Run, progress: Progress, now: datetime) -> datetime | None:
    arc = progress.latest
    if arc is None or arc.off_us is not None:
        return None
    lit = datetime.fromtimestamp(arc.on_us / 1e6, tz=run.opened_at.tzinfo)
    return None if _overdue(progress, lit, now) else lost_since(run.table, now, lit=True)


def _overdue(progress: Progress, lit: datetime, now: datetime) -> bool:
    """An arc lit at `lit` has lost its end rather than that it burns still."""
    planned_s = progress.begun.planned_s if progress.begun else None
    return (now - lit).total_seconds() > (STILL * planned_s if planned_s else LONGEST_S)


def restart_at(progress: Progress, last: Segment | None) -> int:
    """The contour to offer for a restart: the first not seen burnt. `last`: the run's last
    segment."""
    whole = range(progress.first, progress.contours + 1)
    first = next((n for n in whole if n not in progress.done), progress.first)
    return max(first, last.first_contour if last and not progress.done else 1)


def stopped_of(stoppage: Stoppage | None) -> Stopped | None:
    if stoppage is None:
        return None
    reason = stoppage.reason.label if stoppage.reason else ""
    unnamed = stoppage.by_id is None and stoppage.note == NOT_SIGNED_IN
    return Stopped(stoppage.started_at, reason, reason or _("No reason yet"), unnamed)
