"""What the shop learns of a part from its pieces, worked out in the background and kept. Work kind
"life", key: the part's id. Asked for after a piece ended or was looked at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from planning.calc.life.given import steadied
from planning.calc.life.kaplan import survival
from planning.calc.life.learned import Learned, learn
from planning.calc.life.pit import between
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import TooLittleData
from planning.calc.life.replacement import of_posterior
from planning.calc.life.weibull import LEAST_ENDS, fit
from planning.calc.said import stored, told
from planning.inputs.lives import KIND, NEWEST, given_by, given_of, limit_of, records_of, to_json
from planning.services.change_pays import pays_body
from planning.services.failures import failures_want
from planning.services.piece_figures import outlooks_write
from shopfloor.background.request import request_work
from shopfloor.chart.parts import alike
from shopfloor.chart.replan import plan_again
from shopfloor.models import ChartRow, Piece, PieceState, SetPart, Summary

IN_USE = (PieceState.NEW, PieceState.FITTED, PieceState.SHELVED)
LEVEL, PIT_LEVEL = 0.90, 0.80
CURVE_POINTS, CURVE_REACH = 41, 2.2  # of the drawing of how many still burn
FRESH = timedelta(days=1)
DEARER = (2, 3, 5)  # how many planned changes a failure may cost


def life_write(*, key: str, payload: dict[str, Any]) -> None:
    """Learns of one part, keeps it, and has the outlooks of its pieces in use follow. The first
    time the ages and pits of all its pieces are published anew: outlooks of a former version have
    no pits. Harmless to repeat."""
    now, part = timezone.now(), SetPart.objects.filter(pk=int(key)).first()
    if part is None:
        return
    same = alike(part)
    pieces = Piece.objects.filter(part__in=same)
    if not Summary.objects.filter(kind=KIND, key=key).exists():
        newest = pieces.filter(outlook__isnull=False).order_by("-pk")[:NEWEST]
        outlooks_write(newest.values_list("pk", flat=True), now=now)
    lives_write(same.values_list("pk", flat=True))
    live = pieces.filter(state__in=IN_USE, outlook__isnull=False)
    outlooks_write(live.values_list("pk", flat=True), now=now)
    failures_want()


def lives_freshen() -> int:
    """Asks for parts that have pieces and of which nothing was learned yet, or not when a change
    pays or the curve that is drawn, or that a day ago: rates and what failures spoilt are told
    later; returns how many."""
    drawn = Q(body__has_key="curve") | Q(body__has_key="too_little")
    current = Summary.objects.filter(
        drawn, kind=KIND, body__pays__isnull=False, computed_at__gte=timezone.now() - FRESH
    )
    known = set(current.values_list("key", flat=True))
    used = SetPart.objects.filter(Exists(Piece.objects.filter(part=OuterRef("pk"))))
    wanted = [key for key in map(str, used.values_list("pk", flat=True)) if key not in known]
    for key in wanted:
        request_work(kind=KIND, key=key)
    return len(wanted)


def lives_write(parts: Iterable[int]) -> int:
    """Learns of these parts; returns how many there are. It takes seconds a part: nothing is locked
    meanwhile, and what another learned since stays."""
    now, made = timezone.now(), []
    for part in SetPart.objects.filter(pk__in=sorted(set(parts))):
        learned = learn(records_of(part), part.rated_starts, limit_of(part))
        body = life_body(learned)
        body["pays"] = pays_body(part, learned, now)
        made.append((part, body))
    with transaction.atomic():
        for part, body in made:
            _keep(part, body, now)
    return len(made)


def _keep(part: SetPart, body: dict[str, Any], now: datetime) -> None:
    """`now`: when it was begun. The caller's transaction."""
    rows = Summary.objects.select_for_update().filter(kind=KIND, key=str(part.pk))
    if rows.filter(computed_at__gt=now, computed_at__lte=timezone.now()).exists():
        return
    body["gives"] = _gives(part)
    Summary.objects.update_or_create(
        kind=KIND, key=str(part.pk), defaults={"body": body, "computed_at": now}
    )


def _gives(part: SetPart) -> list[float] | None:
    """What plans go by, kept while it moves little; where it has moved, its set is planned anew."""
    found, kept = given_by(part), given_of([part.pk]).get(part.pk)
    if kept is not None and steadied(found, kept.starts):
        return list(astuple(kept))
    if found != kept:
        rows = ChartRow.objects.filter(wear_set=part.wear_set_id)
        plan_again(set(rows.values_list("material", flat=True)))
    return None if found is None else list(astuple(found))


def _change(lives: Posterior, times: int) -> list[float | None]:
    """Where a failure costs so many times a planned change: that, the age to change at (None: at
    the end), the ages that are as good, and the share of the cost that is saved."""
    found = of_posterior(lives, 1.0, float(times))
    saved = 1 - found.cost / found.to_the_end
    if found.age is None:
        return [times, None, None, None, 0.0]
    return [times, found.age, found.low, found.high, saved]


def _curve(lives: Posterior) -> list[list[float]]:
    """Rows of an age, the share of pieces that reach it, and its range, until hardly any do."""
    far = CURVE_REACH * lives.mean
    ages = np.linspace(0.0, far, CURVE_POINTS)
    shares = lives.survival(ages)
    low, high = lives.survival_between(ages, LEVEL)
    rows = np.column_stack([ages, shares, low, high]).round(4)
    return [[float(value) for value in row] for row in rows]


def life_body(learned: Learned) -> dict[str, Any]:
    """What is kept of it, as JSON values. What cannot be said is left out."""
    body: dict[str, Any] = {
        "records": to_json(learned.records),
        "rated": learned.rated,
        "limit_mm": learned.limit_mm,
        "ends": learned.ends,
        "steps": [
            [step.age, step.share, step.low, step.high] for step in survival(learned.lives, LEVEL)
        ],
    }
    if learned.rates is not None:
        usual, off = learned.rates, learned.scatter
        readings = [one for record in learned.records for one in record.readings]
        body["pit"] = {
            "per_start": usual.per_start,
            "per_arc_s": usual.per_arc_s,
            "readings": usual.n,
            "sd": off.piece_sd,
            "pieces": off.pieces,
            "between": between(readings, usual, learned.limit_mm, PIT_LEVEL),
        }
    try:
        lives = learned.whole
    except TooLittleData as why:
        return body | {"too_little": stored(told(why))}
    body["mean"] = lives.mean
    body["mean_between"] = lives.mean_between(LEVEL)
    body["curve"] = _curve(lives)
    body["shape_between"] = lives.shape_between(LEVEL)
    if learned.ends >= LEAST_ENDS:
        body["change"] = [_change(lives, times) for times in DEARER]
    try:
        best = fit(learned.lives, LEVEL)
        body["fit"] = {"shape": best.life.shape, "scale": best.life.scale}
    except TooLittleData as why:
        body["fit"] = {"too_little": stored(told(why))}
    return body
