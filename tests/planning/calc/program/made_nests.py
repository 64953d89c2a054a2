"""Nests with a known truth: programs of parts as shops cut them, and the parts' net areas."""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import dataclass, field

Point = tuple[float, float]


@dataclass
class Made:
    """Torch-on paths as lines of a program, and the net areas of the parts in mm2."""

    decimals: int = 4
    unit: float = 1.0  # mm
    lines: list[str] = field(default_factory=list)
    areas: list[float] = field(default_factory=list)
    paths: int = 0

    def word(self, point: Point) -> str:
        x, y = (value / self.unit for value in point)
        return f"X{x:.{self.decimals}f} Y{y:.{self.decimals}f}"

    def cut(self, *points: Point) -> None:
        self.lines += ["G0 " + self.word(points[0]), "M3", "G1"]
        self.lines += [self.word(point) for point in points[1:]]
        self.lines.append("M5")
        self.paths += 1

    def program(self) -> bytes:
        return "\n".join(["G20" if self.unit > 1 else "G21", *self.lines, "M2"]).encode()


def placed(points: list[Point], at: Point, degrees: float) -> list[Point]:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return [(at[0] + c * x - s * y, at[1] + s * x + c * y) for x, y in points]


def box(wide: float, high: float) -> list[Point]:
    return [(0, 0), (wide, 0), (wide, high), (0, high), (0, 0)]


def blob(rng: random.Random, size: float) -> list[Point]:
    """A closed outline with straight edges, star-shaped about its middle."""
    count = rng.randint(4, 9)
    turns = [math.tau * (i + rng.uniform(-0.3, 0.3)) / count for i in range(count)]
    spots = [(size / 2 * rng.uniform(0.6, 1.0), turn) for turn in turns]
    ring = [(size / 2 + r * math.cos(t), size / 2 + r * math.sin(t)) for r, t in spots]
    return [*ring, ring[0]]


def shoelace(ring: list[Point]) -> float:
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(ring)) / 2)


def along(ring: list[Point], at: float) -> Point:
    for a, b in itertools.pairwise(ring):
        step = math.dist(a, b)
        if at <= step:
            return (a[0] + (b[0] - a[0]) * at / step, a[1] + (b[1] - a[1]) * at / step)
        at -= step
    return ring[-1]


def stretch(ring: list[Point], begin: float, end: float) -> list[Point]:
    """The ring from one length along it to another."""
    found, run = [along(ring, begin)], 0.0
    for a, b in itertools.pairwise(ring):
        run += math.dist(a, b)
        if begin + 1e-9 < run < end - 1e-9:
            found.append(b)
    return [*found, along(ring, end)]


def tabbed(made: Made, rng: random.Random, at: Point, size: float) -> None:
    """An outline held by tabs in the middles of some of its edges, each path with a lead-in."""
    ring = placed(blob(rng, size), at, 0)
    edges = [math.dist(a, b) for a, b in itertools.pairwise(ring)]
    starts = [sum(edges[:i]) for i in range(len(edges))]
    wanted = [i for i in range(len(edges)) if edges[i] > 18]
    chosen = sorted(rng.sample(wanted, min(len(wanted), rng.randint(1, 4))))
    tab = rng.uniform(0.8, 3.5)
    gaps = [
        (starts[i] + edges[i] / 2 - tab / 2, starts[i] + edges[i] / 2 + tab / 2) for i in chosen
    ]
    whole = sum(edges)
    for i, (_, begin) in enumerate(gaps):
        end = gaps[(i + 1) % len(gaps)][0]
        points = (
            stretch(ring, begin, end)
            if end > begin
            else [*stretch(ring, begin, whole), *stretch(ring, 0, end)[1:]]
        )
        a, b = ring[chosen[i]], ring[chosen[i] + 1]
        out = ((b[1] - a[1]) / edges[chosen[i]] * 3, -(b[0] - a[0]) / edges[chosen[i]] * 3)
        made.cut((points[0][0] + out[0], points[0][1] + out[1]), *points)
    made.areas.append(shoelace(ring))


def strips(made: Made, rng: random.Random, at: Point, size: float) -> None:
    """An outline with cuts across it, before or after it, that begin and end at its edge, beyond it
    or a little short of it."""
    count, turn = rng.randint(2, 5), rng.choice([0, 90, 17])
    widths = [size * rng.uniform(0.1, 0.2) for _ in range(count)]
    wide, high = sum(widths), size * rng.uniform(0.3, 0.7)
    over = rng.choice([0.0, 2.0, -0.04])
    at = (at[0] + high * math.sin(math.radians(turn)), at[1])
    outline = placed(box(wide, high), at, turn)
    cuts, x = [], 0.0
    for width in widths[:-1]:
        x += width
        cut = placed([(x, -over), (x, high + over)], at, turn)
        cuts.append(cut[::-1] if rng.random() < 0.5 else cut)
    first = rng.random() < 0.5
    for path in [outline, *cuts] if first else [*cuts, outline]:
        made.cut(*path)
    made.areas += [width * high for width in widths]


def grid(made: Made, rng: random.Random, at: Point, size: float) -> None:
    """Parts in rows and columns of which every line is cut once, with or without an outline."""
    columns, rows = rng.randint(1, 4), rng.randint(2, 4)
    wide, high = size * rng.uniform(0.6, 0.9) / columns, size * rng.uniform(0.6, 0.9) / rows
    outlined, over = rng.random() < 0.5, rng.choice([0.0, 3.0])
    xs = [wide * i for i in range(columns + 1)]
    ys = [high * i for i in range(rows + 1)]
    if outlined:
        made.cut(*placed(box(xs[-1], ys[-1]), at, 0))
        xs_cut, ys_cut = xs[1:-1], ys[1:-1]
    else:
        xs_cut, ys_cut = xs, ys
    for x in xs_cut:
        made.cut(*placed([(x, -over), (x, ys[-1] + over)], at, 0))
    for y in ys_cut:
        made.cut(*placed([(-over, y), (xs[-1] + over, y)], at, 0))
    made.areas += [wide * high] * (columns * rows)


def chain(made: Made, rng: random.Random, at: Point, size: float) -> None:
    """Boxes in a single torch-on path, the torch burning from each to the next."""
    count = rng.randint(2, 4)
    pitch, y = size / count, 0.0
    path: list[Point] = []
    for i in range(count):
        wide, high = pitch * rng.uniform(0.5, 0.7), size * rng.uniform(0.2, 0.4)
        path += placed(box(wide, high), (at[0] + size - (i + 1) * pitch, at[1] + y), 0)
        y += rng.uniform(2, 12)
        made.areas.append(wide * high)
    made.cut(*path)


def holed(made: Made, rng: random.Random, at: Point, size: float) -> None:
    """A box with a square hole and, inside, a slot of one open cut."""
    side, hole = size * rng.uniform(0.5, 0.9), size * 0.1
    made.cut(*placed(box(hole, hole), (at[0] + side * 0.2, at[1] + side * 0.2), 10))
    made.cut((at[0] + side * 0.6, at[1] + side * 0.6), (at[0] + side * 0.8, at[1] + side * 0.7))
    made.cut((at[0] - 4, at[1]), *placed(box(side, side), at, 0))
    made.areas.append(side * side - hole * hole)


KINDS = {"tabbed": tabbed, "strips": strips, "grid": grid, "chain": chain, "holed": holed}


def nest(seed: int, kinds: tuple[str, ...] = tuple(KINDS)) -> Made:
    """Up to nine of such parts on one sheet, in a unit and with decimals as the seed says."""
    rng = random.Random(seed)
    made = Made(*rng.choice([(4, 1.0), (3, 1.0), (2, 1.0), (4, 25.4), (3, 25.4)]))
    for i in range(rng.randint(1, 9)):
        at = (20 + 220.0 * (i % 3), 20 + 220.0 * (i // 3))
        KINDS[rng.choice(kinds)](made, rng, at, 150.0)
    return made
