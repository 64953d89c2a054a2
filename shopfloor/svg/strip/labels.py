"""Which labels stand, and where: the more urgent first; one that would meet another leans to
its left or right, and is dropped if there is no room there either."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from typing import Literal

Anchor = Literal["start", "middle", "end"]
GAP = 7.0
_NARROW = frozenset("iljtfr.,:;'’()|1 ·–-")
_BROAD = frozenset("mwMW%ABCDGHKNOQRSUVXYZ")
_DIGIT = 0.64  # em: lining figures of the widest serif a browser falls back to


def text_width(text: str, size: float) -> float:
    """About how wide a text is in px at `size` px: our estimate for a book serif, on the wide
    side so that labels part rather than touch, and none is cut off at the paper's edge."""
    return sum(map(_ems, text)) * size


def _ems(c: str) -> float:
    if c in _NARROW:
        return 0.33
    if c in _BROAD:
        return 0.74
    return _DIGIT if c.isdecimal() else 0.53


@dataclass(frozen=True, slots=True)
class Place:
    x: float
    anchor: Anchor
    dy: float = 0.0  # px below the label's own line; negative is above


@dataclass(frozen=True, slots=True)
class Label:
    text: str
    y: float
    places: tuple[Place, ...]
    css: str
    size: float = 13.5
    urgency: int = 0

    def span(self, place: Place) -> tuple[float, float]:
        w = text_width(self.text, self.size)
        left = {"start": place.x, "middle": place.x - w / 2, "end": place.x - w}[place.anchor]
        return left, left + w


def over(left: float, right: float) -> tuple[Place, ...]:
    """Centred over a span; else ending at its right edge; else starting at its left edge."""
    mid = (left + right) / 2
    return Place(mid, "middle"), Place(right, "end"), Place(left, "start")


def settle(labels: Iterable[Label], width: float) -> list[tuple[Label, Place]]:
    """The labels that stand, in reading order, with the place each one took."""
    standing: list[tuple[Label, Place]] = []
    for label in sorted(labels, key=lambda one: -one.urgency):
        spots = [p for p in label.places if _fits(label, p, width)]
        free = next((p for p in spots if not _met(label, p, standing)), None)
        if free is not None:
            standing.append((label, free))
            continue
        for spot in spots:
            if _make_room(label, spot, standing, width):
                standing.append((label, spot))
                break
    return sorted(standing, key=lambda one: (one[0].y, one[1].x))


def _fits(label: Label, place: Place, width: float) -> bool:
    left, right = label.span(place)
    return left >= 0 and right <= width


def _met(label: Label, place: Place, standing: list[tuple[Label, Place]]) -> list[int]:
    """Which of the standing labels this one would meet."""
    left, right = label.span(place)
    y = label.y + place.dy
    met = []
    for i, (other, spot) in enumerate(standing):
        a, b = other.span(spot)
        low = other.y + spot.dy
        across = left < b + GAP and right > a - GAP
        if across and y - label.size < low and y > low - other.size:
            met.append(i)
    return met


def _make_room(
    label: Label, place: Place, standing: list[tuple[Label, Place]], width: float
) -> bool:
    """Leans the one label in the way to another of its places, if that frees this one."""
    met = _met(label, place, standing)
    if len(met) != 1:
        return False
    other = standing[met[0]][0]
    rest = [one for i, one in enumerate(standing) if i != met[0]] + [(label, place)]
    for spot in other.places:
        if _fits(other, spot, width) and not _met(other, spot, rest):
            standing[met[0]] = (other, spot)
            return True
    return False


def text(x: float, y: float, words: str, css: str, anchor: Anchor = "start") -> str:
    return (
        f'<text class="{css}" x="{px(x)}" y="{px(y)}" text-anchor="{anchor}">{escape(words)}</text>'
    )


def write(labels: Iterable[Label], width: float) -> str:
    return "".join(
        text(place.x, label.y + place.dy, label.text, label.css, place.anchor)
        for label, place in settle(labels, width)
    )


def px(value: float) -> str:
    """A length with one decimal at most."""
    short = f"{value:.1f}".removesuffix(".0")
    return "0" if short == "-0" else short
