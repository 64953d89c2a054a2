"""Recognition of parts scored on made-up ones: turned, moved, mirrored, chorded and rounded anew,
cut with another kerf, or changed a little. What was done to a part is known, so undoing it and
asking shapely how far the two lie apart (Hausdorff's distance) is a judge of its own.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from time import process_time
from typing import Any, Final

import shapely
from shapely import affinity

from planning.calc.alike import judge, outline_of, tolerance_mm

SEED: Final = 71_993
ROUNDED: Final = (0.001, 0.01, 0.0254)  # mm: three decimals, two, three of an inch
_GREY: Final = 0.05  # mm around the tolerance that is nobody's fault
KINDS: Final = ("same", "mirrored", "kerf", "hole", "moved", "notch", "stretched")


@dataclass(frozen=True, slots=True)
class Pair:
    """Two parts and what was done to the second; ``apart_mm`` by shapely, undone."""

    one: Any
    other: Any
    kind: str
    step_mm: float
    apart_mm: float


def run(*, quick: bool) -> dict[str, Any]:
    """Counts over thousands of pairs."""
    return scored(175 if quick else 3_000)


def scored(count: int, seed: int = SEED) -> dict[str, Any]:
    """False matches and misses. Pairs within ``_GREY`` of the tolerance count as neither."""
    told: Counter[tuple[str, str]] = Counter()
    false = missed = near = grey = changed = 0
    took = 0.0
    for pair in pairs(count, seed):
        one, other = (
            outline_of(rings_of(each), step_mm=pair.step_mm) for each in (pair.one, pair.other)
        )
        if one is None or other is None:
            continue
        begun = process_time()
        found = judge(one, other)
        took += process_time() - begun
        said = found.kind if found else "other"
        told[pair.kind, said] += 1
        known = said in ("same", "mirrored")
        tolerance = tolerance_mm(pair.step_mm)
        if pair.kind in ("same", "mirrored", "kerf"):
            missed += not known
        elif pair.apart_mm > tolerance + _GREY:
            changed += 1
            false += known
            near += said == "near"
        else:
            grey += 1
    total = sum(told.values())
    return {
        "pairs": total, "changed": changed, "false": false, "missed": missed, "grey": grey,
        "offered": near, "ms_each": 1000 * took / total if total else None,
        "told": {f"{kind}: {said}": n for (kind, said), n in sorted(told.items())},
    }  # fmt: skip


def pairs(count: int, seed: int = SEED) -> Iterator[Pair]:
    chance = random.Random(seed)  # noqa: S311 - shapes, not secrets
    made = 0
    while made < count:
        part = part_of(chance)
        kind = KINDS[made % len(KINDS)]
        after = changed(part, kind, chance)
        if after is None:
            continue
        step = chance.choice(ROUNDED)
        mirror = kind == "mirrored" or (kind != "same" and chance.random() < 0.3)
        turn, dx, dy = chance.uniform(0, 360), chance.uniform(-900, 900), chance.uniform(-900, 900)
        laid = affinity.scale(after, -1, 1, origin=(0, 0)) if mirror else after
        laid = affinity.translate(affinity.rotate(laid, turn, origin=(0, 0)), dx, dy)
        apart = math.inf if kind == "kerf" else _apart(part, after)
        yield Pair(_written(part, step, chance), _written(laid, step, chance), kind, step, apart)
        made += 1


def part_of(chance: random.Random) -> Any:
    """A plate, an angle, a disc or a star with holes in it, in exact lines and fine chords."""
    wide, high = chance.uniform(40, 600), chance.uniform(40, 400)
    form = chance.choice(("plate", "angle", "disc", "star"))
    area: Any
    if form == "disc":
        area = shapely.Point(0, 0).buffer(wide / 3, quad_segs=chance.randint(24, 90))
    elif form == "star":
        count = chance.randint(5, 14)
        rays = [chance.uniform(0.5, 1) * high for _ in range(count)]
        area = shapely.Polygon([
            (r * math.cos(k * math.tau / count), r * math.sin(k * math.tau / count))
            for k, r in enumerate(rays)
        ])  # fmt: skip
    else:
        area = shapely.box(0, 0, wide, high)
        if form == "angle":
            area = area.difference(shapely.box(
                wide * chance.uniform(0.3, 0.8), high * chance.uniform(0.3, 0.8), wide, high
            ))  # fmt: skip
        if chance.random() < 0.5:
            area = area.buffer(-8).buffer(8, quad_segs=chance.randint(12, 40))
    for _ in range(chance.randint(0, 8)):
        area = _drilled(area, chance)
    return area


def _drilled(area: Any, chance: random.Random) -> Any:
    x0, y0, x1, y1 = area.bounds
    spot = shapely.Point(chance.uniform(x0, x1), chance.uniform(y0, y1))
    hole = spot.buffer(chance.uniform(3, 15), quad_segs=chance.randint(10, 30))
    return area.difference(hole) if area.buffer(-5).contains(hole) else area


def changed(part: Any, kind: str, chance: random.Random) -> Any | None:
    """The part as it was changed; None where this one cannot be."""
    if kind in ("same", "mirrored"):
        return part
    if kind == "kerf":
        grown = part.buffer(chance.uniform(0.4, 1.5), join_style=chance.choice((1, 2)))
        whole = grown.geom_type == "Polygon" and len(grown.interiors) == len(part.interiors)
        return grown if whole and part.interiors else None
    if kind in ("hole", "moved"):
        # On a disc one hole moved around is the same part turned.
        if len(part.interiors) < (1 if kind == "hole" else 2):
            return None
        at = chance.randrange(len(part.interiors))
        hole = shapely.Polygon(part.interiors[at])
        after = (
            hole.buffer(0.25)
            if kind == "hole"
            else affinity.translate(hole, chance.uniform(0.5, 1.5), chance.uniform(0.5, 1.5))
        )
        rest = [ring for i, ring in enumerate(part.interiors) if i != at]
        made = shapely.Polygon(part.exterior, rest).difference(after)
        return made if made.geom_type == "Polygon" else None
    if kind == "notch":
        spot = part.exterior.interpolate(chance.uniform(0, 1), normalized=True)
        made = part.difference(spot.buffer(chance.uniform(0.4, 1.5), quad_segs=8))
        whole = made.geom_type == "Polygon" and len(made.interiors) == len(part.interiors)
        return made if whole else None
    x0, _y0, x1, _y1 = part.bounds
    return affinity.scale(part, 1 + chance.uniform(0.4, 1.5) / (x1 - x0), 1, origin=(0, 0))


def _apart(one: Any, other: Any) -> float:
    """Hausdorff's distance of the edges' vertices, by shapely."""
    if len(one.interiors) != len(other.interiors):
        return math.inf
    return float(shapely.hausdorff_distance(one.boundary, other.boundary))


def _written(area: Any, step: float, chance: random.Random) -> Any:
    """Rounded as a program writes it, begun at another vertex."""
    return shapely.Polygon(
        _ring(area.exterior, step, chance), [_ring(ring, step, chance) for ring in area.interiors]
    )


def _ring(ring: Any, step: float, chance: random.Random) -> list[tuple[float, float]]:
    points = list(ring.coords)[:-1]
    start = chance.randrange(len(points))
    turned = points[start:] + points[:start]
    if chance.random() < 0.5:
        turned = turned[::-1]
    return [(round(x / step) * step, round(y / step) * step) for x, y in [*turned, turned[0]]]


def rings_of(area: Any) -> list[Any]:
    return [list(area.exterior.coords), *(list(ring.coords) for ring in area.interiors)]
