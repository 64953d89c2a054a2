"""What pieces of a part tell of its life: from their published ages, or as it was kept."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Count, F, OuterRef, Q, Subquery, Sum

from planning.calc.life.given import Given, given
from planning.calc.life.learned import Learned, PieceRecord, ended_by_wear, learn
from planning.calc.life.pit import Reading
from planning.calc.life.records import Life
from shopfloor.chart.parts import alike
from shopfloor.models import Fitting, Piece, SetPart, Summary
from shopfloor.site.queries import the_shop
from shopfloor.wear.lives import KIND as KIND
from shopfloor.wear.lives import given_of as given_of

USED_UP, SPOILT = ("failed", "retired"), ("crashed", "lost")
NEWEST = 300  # pieces of a part that are learned from: older ones were another maker's, another air


def records_of(part: SetPart) -> list[PieceRecord]:
    """The newest pieces of a part, in whichever set, whose age is known, as their outlooks have
    them. Two queries."""
    limit_mm = limit_of(part)
    last = Fitting.objects.filter(piece=OuterRef("pk")).order_by("-fitted_at", "-pk")
    rows = (
        Piece.objects.filter(
            part__in=alike(part), prior_starts__isnull=False, outlook__starts__gt=0
        )
        .annotate(
            cause=Subquery(last.values("removal_cause")[:1]),
            collateral=Subquery(last.values("collateral")[:1]),
        )
        .order_by("-pk")
        .values_list(
            "pk", "state", "cause", "collateral", "prior_starts",
            "outlook__starts", "outlook__pit_mm", "outlook__pits",
        )[:NEWEST]
    )  # fmt: skip
    found = []
    for pk, state, cause, collateral, prior, starts, pit_mm, pits in rows:
        ended = ended_by_wear(
            state=state,
            cause=cause or "",
            collateral=bool(collateral),
            last_pit_mm=pit_mm,
            limit_mm=limit_mm,
        )
        life = Life(float(starts or 0), ended, float(min(prior or 0, starts or 0)))
        found.append(PieceRecord(pk, life, tuple(Reading(*pit) for pit in pits)))
    return found


def limit_of(part: SetPart) -> float:
    return part.pit_limit_mm if part.pit_limit_mm is not None else the_shop().pit_limit_mm


def learned_of(parts: Iterable[int]) -> dict[int, Learned]:
    """By part, what was learned last; a part nothing was learned of has its rated life alone."""
    ids = sorted(set(parts))
    keys = [str(part) for part in ids]
    bodies: dict[str, Any] = dict(
        Summary.objects.filter(kind=KIND, key__in=keys)
        .exclude(body=None)
        .values_list("key", "body")
    )
    return {
        part.pk: learn(from_json(bodies.get(str(part.pk), {})), part.rated_starts, limit_of(part))
        for part in SetPart.objects.filter(pk__in=ids)
    }


def given_by(part: SetPart) -> Given | None:
    """What pieces of a part have given, all there ever were."""
    known = Piece.objects.filter(part__in=alike(part), prior_starts__isnull=False)
    sums = known.aggregate(
        burnt=Sum(F("outlook__starts") - F("prior_starts")),
        out=Count("pk", filter=Q(state__in=USED_UP)),
        spoilt=Sum(F("outlook__starts") - F("prior_starts"), filter=Q(state__in=SPOILT)),
    )
    return given(
        part.rated_starts,
        burnt=sums["burnt"] or 0,
        out=sums["out"],
        spoilt_starts=sums["spoilt"] or 0,
    )


def to_json(records: Iterable[PieceRecord]) -> list[list[Any]]:
    """Rows of piece, age, ended, age when first seen, pits (starts, arc seconds, mm)."""
    return [
        [
            record.piece,
            record.life.age,
            record.life.ended,
            record.life.entered,
            [[pit.starts, pit.arc_s, pit.pit_mm] for pit in record.readings],
        ]
        for record in records
    ]


def from_json(body: dict[str, Any]) -> list[PieceRecord]:
    return [
        PieceRecord(piece, Life(age, ended, entered), tuple(Reading(*pit) for pit in pits))
        for piece, age, ended, entered, pits in body.get("records", ())
    ]
