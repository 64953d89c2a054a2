"""How jobs, times and sets are said on the floor."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from shopfloor.models import Contour, Nest, NestRevision, PieceKind, WearSet


@dataclass(frozen=True, slots=True)
class Facts:
    """Which jobs and parts a revision serves, by name."""

    jobs: tuple[str, ...]
    parts: tuple[str, ...]


def facts_of(revision: NestRevision) -> Facts:
    rows = list(
        Contour.objects.filter(revision=revision)
        .values_list("line__job__number", "part")
        .distinct()
    )
    return Facts(
        jobs=tuple(sorted({job for job, _ in rows if job})),
        parts=tuple(sorted({part for _, part in rows if part})),
    )


def nest_title(revision: NestRevision, facts: Facts | None = None) -> str:
    """K-2284, nest 2 of 3; the nest's own name where it serves several jobs or none."""
    jobs = (facts or facts_of(revision)).jobs
    if not jobs:
        return revision.nest.name
    if len(jobs) > 1:
        others = jobs[1] if len(jobs) == 2 else f"{len(jobs) - 1} more"
        return f"{jobs[0]} and {others}, {revision.nest.name}"
    mine = Contour.objects.filter(line__job__number=jobs[0]).values("revision__nest")
    nests = list(
        Nest.objects.filter(withdrawn_at=None, pk__in=mine)
        .order_by("pk")
        .values_list("pk", flat=True)
    )
    if len(nests) < 2 or revision.nest_id not in nests:
        return jobs[0]
    return f"{jobs[0]}, nest {nests.index(revision.nest_id) + 1} of {len(nests)}"


def part_names(facts: Facts) -> str:
    """Base plate, gusset and 3 more."""
    if not facts.parts:
        return ""
    told = ", ".join(facts.parts[:2])
    more = f" and {len(facts.parts) - 2} more" if len(facts.parts) > 2 else ""
    return f"{told[0].upper()}{told[1:]}{more}"


def about(seconds: float) -> str:
    """About 28 min, about 1 h 35 min, under a minute."""
    minutes = max(round(seconds / 60), 0)
    if minutes < 1:
        return "under a minute"
    long = f"{minutes // 60} h {minutes % 60:02d} min"
    return f"about {long if minutes >= 100 else f'{minutes} min'}"


def clock(moment: datetime | None) -> str:
    return timezone.localtime(moment).strftime("%H:%M") if moment else ""


def day_clock(moment: datetime, now: datetime) -> str:
    """11:20, or Mon 11:20 where it was another day."""
    here, today = timezone.localtime(moment), timezone.localtime(now)
    same = here.date() == today.date()
    return here.strftime("%H:%M") if same else here.strftime("%a %H:%M")


def set_words(wear_set: WearSet | None) -> str:
    return f"{wear_set.duty} {wear_set.current_a:g} A" if wear_set else ""


def kind_words(kind: str) -> str:
    return str(PieceKind(kind).label) if kind in PieceKind.values else kind
