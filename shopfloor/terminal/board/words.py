"""How jobs, times and sets are said on the floor."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from shopfloor.models import Contour, Nest, NestRevision, PieceKind, WearSet


def nest_title(revision: NestRevision) -> str:
    """K-2284, nest 2 of 3; the nest's own name where it serves several jobs or none."""
    jobs = list(
        Contour.objects.filter(revision=revision, line__isnull=False)
        .order_by("line__job__number")
        .values_list("line__job__number", flat=True)
        .distinct()
    )
    if not jobs:
        return revision.nest.name
    if len(jobs) > 1:
        others = jobs[1] if len(jobs) == 2 else f"{len(jobs) - 1} more"
        return f"{jobs[0]} and {others}, {revision.nest.name}"
    nests = list(
        Nest.objects.filter(withdrawn_at=None, revisions__contours__line__job__number=jobs[0])
        .order_by("pk")
        .values_list("pk", flat=True)
        .distinct()
    )
    if len(nests) < 2 or revision.nest_id not in nests:
        return str(jobs[0])
    return f"{jobs[0]}, nest {nests.index(revision.nest_id) + 1} of {len(nests)}"


def part_names(revision: NestRevision) -> str:
    """Base plate, gusset and 3 more."""
    names = list(
        Contour.objects.filter(revision=revision)
        .exclude(part="")
        .order_by("part")
        .values_list("part", flat=True)
        .distinct()
    )
    if not names:
        return ""
    told = ", ".join(names[:2])
    more = f" and {len(names) - 2} more" if len(names) > 2 else ""
    return f"{told[0].upper()}{told[1:]}{more}"


def about(seconds: float | None) -> str:
    """28 min, 1 h 35 min; blank where nobody knows."""
    if seconds is None:
        return ""
    minutes = max(round(seconds / 60), 0)
    if minutes < 1:
        return "under a minute"
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60} h {minutes % 60:02d} min"


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
