"""Known parts as pages read them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import (
    Count,
    IntegerField,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
)
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from planning.calc.said import said
from shopfloor.models import Check, JobLine, KnownPart, LikePart, PartPlace, Run
from shopfloor.svg.parts_map import Part, Svg, parts_map

MOST: Final = 50


def parts_list(text: str = "") -> QuerySet[KnownPart]:
    """Known parts with how many nests make them and when one was last found. `text` looks in
    names, job lines, jobs and nests."""
    parts = KnownPart.objects.select_related("material")
    if text:
        lines = JobLine.objects.filter(Q(part__icontains=text) | Q(job__number__icontains=text))
        places = PartPlace.objects.filter(
            Q(line__in=lines.values("pk")) | Q(revision__nest__name__icontains=text)
        )
        parts = parts.filter(Q(name__icontains=text) | Q(pk__in=places.values("part")))
    return parts.order_by("name", "pk")


def with_counts(keys: Sequence[int]) -> list[KnownPart]:
    """These parts, in that order, with `nest_count`, `near` (likenesses without an answer) and
    `seen_at`, when a nest that makes it was last read."""
    places = PartPlace.objects.filter(part=OuterRef("pk"), revision__isnull=False).order_by()
    counted = places.values("part").annotate(n=Count("revision__nest", distinct=True)).values("n")
    near = LikePart.objects.filter(part=OuterRef("pk"), answer="").order_by()
    asked = near.values("part").annotate(n=Count("pk")).values("n")
    seen = places.values("part").annotate(at=Max("revision__made_at")).values("at")
    parts = KnownPart.objects.select_related("material").annotate(
        nest_count=Coalesce(Subquery(counted), 0, output_field=IntegerField()),
        near=Coalesce(Subquery(asked), 0, output_field=IntegerField()),
        seen_at=Subquery(seen),
    )
    found = parts.in_bulk(keys)
    return [found[pk] for pk in keys if pk in found]


def part_map(part: KnownPart, width: int = 620) -> Svg:
    rings = tuple(tuple((float(x), float(y)) for x, y in ring) for ring in part.rings)
    lines = tuple(tuple((float(x), float(y)) for x, y in line) for line in part.lines)
    return parts_map([Part("", rings, name=part.name, leads=lines)], width=width, font_px=15)


def part_size_mm(part: KnownPart) -> tuple[float, float]:
    xs, ys = zip(*part.rings[0], strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


@dataclass(frozen=True, slots=True)
class NestPlace:
    """A nest that makes the part, of its newest revision with it."""

    place: PartPlace
    copies: int
    turned_over: int


def nest_places(part: KnownPart) -> list[NestPlace]:
    """The newest nests first, at most `MOST`."""
    rows = (
        part.places.filter(revision__isnull=False)
        .order_by()
        .values("revision__nest")
        .annotate(newest=Max("revision"))
        .order_by("-newest")[:MOST]
    )
    newest = [row["newest"] for row in rows]
    found: dict[int, list[PartPlace]] = {}
    places = part.places.filter(revision__in=newest).select_related("revision__nest")
    for place in places.defer("revision__program").order_by("contour"):
        found.setdefault(place.revision_id or 0, []).append(place)
    return [
        NestPlace(
            found[pk][0],
            sum(place.copies for place in found[pk]),
            sum(place.turned_over for place in found[pk]),
        )
        for pk in newest
    ]


def part_lines(part: KnownPart) -> QuerySet[JobLine]:
    """Job lines the part was cut for, the newest first."""
    lines = part.places.filter(line__isnull=False).values("line")
    return (
        JobLine.objects.filter(pk__in=lines)
        .select_related("job__customer")
        .annotate(
            good=Coalesce(Sum("results__quantity", filter=Q(results__outcome="good")), 0),
            scrap=Coalesce(Sum("results__quantity", filter=Q(results__outcome="scrap")), 0),
        )
        .order_by("-job__pk", "number")[:MOST]
    )


def part_checks(runs: Sequence[Run]) -> QuerySet[Check]:
    """Checks measured in those runs; a check is of a run's cut, not of one part alone."""
    return (
        Check.objects.filter(run__in=[run.pk for run in runs])
        .select_related("run__revision__nest", "by")
        .order_by("-at")[:MOST]
    )


def revisions_of(part: KnownPart) -> list[KnownPart]:
    """The part with all that a person, or its drawing, says it follows or is followed by: the
    oldest first."""
    found = {part.pk: part}
    wave = [part]
    while wave and len(found) < MOST:
        pks = [each.pk for each in wave]
        before = [each.follows_id for each in wave if each.follows_id]
        near = KnownPart.objects.filter(Q(follows__in=pks) | Q(pk__in=before))
        wave = [each for each in near if each.pk not in found]
        found |= {each.pk: each for each in wave}
    return sorted(found.values(), key=lambda each: (each.made_at, each.pk))


@dataclass(frozen=True, slots=True)
class Likeness:
    """A part that is nearly this one, with what differs, as messages."""

    like: LikePart
    other: KnownPart
    words: tuple[str, ...]


def likenesses(part: KnownPart) -> list[Likeness]:
    """Near parts from both sides, those without an answer first."""
    rows = LikePart.objects.filter(Q(part=part) | Q(older=part)).select_related(
        "part__material", "older__material"
    )
    found = [
        Likeness(
            row, row.older if row.part_id == part.pk else row.part,
            tuple(change_words(change) for change in row.changes),
        )
        for row in rows[:MOST]
    ]  # fmt: skip
    return sorted(found, key=lambda each: (each.like.answer != "", each.like.pk))


def change_words(change: dict[str, Any]) -> str:
    """What differs, from the older part to the newer; lengths are written in the reader's unit."""
    was, now = change.get("was_mm") or 0.0, change.get("now_mm") or 0.0
    match change.get("what"):
        case "edge":
            return said("the outer edge differs by up to {0:.4g}", now)
        case "offset" if now > 0:
            return said("all edges lie {0:.4g} further out", now)
        case "offset":
            return said("all edges lie {0:.4g} further in", -now)
        case "hole":
            return said("a hole of {0:.4g} is {1:.4g}", was, now)
        case "moved":
            return said("a hole has moved by {0:.4g}", now)
        case "hole_gone":
            return said("a hole of {0:.4g} is gone", was)
        case "hole_new":
            return said("a new hole of {0:.4g}", now)
        case "mirror":
            return said("the mirror image, with a marked face")
    return _("open cuts inside it differ")
