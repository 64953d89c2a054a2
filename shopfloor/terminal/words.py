"""How jobs, times and sets are said on the floor."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.dates import timed, weekday_time
from shopfloor.models import Contour, NestRevision, PieceKind, WearSet


@dataclass(frozen=True, slots=True)
class Facts:
    """Which jobs and parts a revision serves, by name; where it is one job, its nests in use."""

    jobs: tuple[str, ...]
    parts: tuple[str, ...]
    nests: tuple[int, ...]


def facts_of(revisions: Collection[int]) -> dict[int, Facts]:
    """By revision id; two queries, however many."""
    jobs = defaultdict[int, set[str]](set)
    parts = defaultdict[int, set[str]](set)
    rows = Contour.objects.filter(revision__in=revisions).order_by().distinct()
    for revision, job, part in rows.values_list("revision", "line__job__number", "part"):
        jobs[revision] |= {job} if job else set()
        parts[revision] |= {part} if part else set()
    nests = _nests_of({job for own in jobs.values() if len(own) == 1 for job in own})
    return {
        revision: Facts(
            jobs=tuple(sorted(jobs[revision])),
            parts=tuple(sorted(parts[revision])),
            nests=nests.get(min(jobs[revision]), ()) if len(jobs[revision]) == 1 else (),
        )
        for revision in revisions
    }


def _nests_of(jobs: Collection[str]) -> dict[str, tuple[int, ...]]:
    """By job number the nests in use that hold parts of it."""
    rows = Contour.objects.filter(
        line__job__number__in=jobs, revision__nest__withdrawn_at=None
    ).order_by()
    found = defaultdict[str, list[int]](list)
    for job, nest in sorted(rows.values_list("line__job__number", "revision__nest").distinct()):
        found[job].append(nest)
    return {job: tuple(nests) for job, nests in found.items()}


def nest_title(revision: NestRevision, facts: Facts) -> str:
    """K-2284, nest 2 of 3; the nest's own name where it serves several jobs or none."""
    jobs = facts.jobs
    if not jobs:
        return revision.nest.name
    if len(jobs) > 1:
        others = jobs[1] if len(jobs) == 2 else _("{count} more").format(count=len(jobs) - 1)
        return _("{jobs} and {others}, {nest}").format(
            jobs=jobs[0], others=others, nest=revision.nest.name
        )
    if len(facts.nests) < 2 or revision.nest_id not in facts.nests:
        return jobs[0]
    return _("{jobs}, nest {nest_id} of {count}").format(
        jobs=jobs[0], nest_id=facts.nests.index(revision.nest_id) + 1, count=len(facts.nests)
    )


def part_names(facts: Facts) -> str:
    """Base plate, gusset and 3 more."""
    if not facts.parts:
        return ""
    named = ", ".join(facts.parts[:2])
    named = f"{named[0].upper()}{named[1:]}"
    if len(facts.parts) <= 2:
        return named
    return _("{parts} and {count} more").format(parts=named, count=len(facts.parts) - 2)


def about(seconds: float) -> str:
    """About 28 min, about 1 h 35 min, under a minute."""
    minutes = max(round(seconds / 60), 0)
    if minutes < 1:
        return _("under a minute")
    long = _("{minutes} h {minutes2:02d} min").format(minutes=minutes // 60, minutes2=minutes % 60)
    return _("about {long}").format(
        long=long if minutes >= 100 else _("{minutes} min").format(minutes=minutes)
    )


def clock(moment: datetime | None) -> str:
    return timed(timezone.localtime(moment)) if moment else ""


def day_clock(moment: datetime, now: datetime) -> str:
    """11:20, or Mon 11:20 where it was another day."""
    here, today = timezone.localtime(moment), timezone.localtime(now)
    same = here.date() == today.date()
    return timed(here) if same else weekday_time(here)


def set_words(wear_set: WearSet | None) -> str:
    return str(wear_set) if wear_set else ""


def kind_words(kind: str) -> str:
    return str(PieceKind(kind).label) if kind in PieceKind.values else kind
