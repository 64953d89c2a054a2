"""Sentences with lengths in them, kept with the numbers: each reader gets their own unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from planning.calc.units import ft_from_mm, in_from_mm

PER_MIN: Final = "/min"


class Said(str):
    """A sentence as it reads in mm. `pattern` and `mm` are what it is made of; `inch_pattern`
    stands for it where a reader of inches needs other words."""

    __slots__ = ("inch_pattern", "mm", "pattern")
    pattern: str
    inch_pattern: str
    mm: tuple[float, ...]

    def __reduce__(self) -> tuple[Any, ...]:
        return said_in_each, (self.pattern, self.inch_pattern, *self.mm)


@dataclass(frozen=True, slots=True)
class _Length:
    """Written by a format as `.4g`: with its unit, without it after `n`, a minute after `/min`; a
    long one in m or ft after `m`, an area in m² or ft² after `m2`."""

    mm: float
    inch: bool

    def __format__(self, spec: str) -> str:
        if spec.startswith("m"):
            return self._long(spec.removeprefix("m"))
        speed = spec.startswith(PER_MIN)
        bare = spec.startswith("n")
        digits = spec.removeprefix(PER_MIN).removeprefix("n") or "g"
        if self.inch:
            figure = f"{in_from_mm(self.mm):.{1 if speed else 3}f}".rstrip("0").rstrip(".")
        else:
            figure = format(self.mm, digits)
        unit = "in" if self.inch else "mm"
        return figure if bare else f"{figure} {unit}{PER_MIN if speed else ''}"

    def _long(self, spec: str) -> str:
        area = spec.startswith("2")
        if self.inch:
            feet = ft_from_mm(self.mm)
            return f"{ft_from_mm(feet):,.2f} ft²" if area else f"{feet:,.1f} ft"
        digits = spec.removeprefix("2")
        return f"{self.mm / 1e6:{digits}} m²" if area else f"{self.mm / 1000:{digits}} m"


def said(pattern: str, *mm: float) -> Said:
    """`pattern` is a format string: `{0:.4g}` the first length with its unit, `{0:n.4g}` without,
    `{0:/min}` a speed, `{0:m,.1f}` a length in m, `{0:m2,.3f}` an area in m². Lengths in mm, areas
    in mm², speeds in mm/min."""
    return said_in_each(pattern, pattern, *mm)


def said_in_each(pattern: str, inch_pattern: str, *mm: float) -> Said:
    """A sentence whose words differ with the unit: a metre, a foot."""
    made = Said(say(pattern, mm, inch=False))
    made.pattern, made.inch_pattern = pattern, inch_pattern
    made.mm = tuple(float(each) for each in mm)
    return made


def around(before: str, text: str, after: str = "") -> str:
    """`text` with plain words before and after it; its lengths stay numbers."""
    if not isinstance(text, Said):
        return f"{before}{text}{after}"
    first, last = plain(before), plain(after)
    return said_in_each(
        f"{first}{text.pattern}{last}", f"{first}{text.inch_pattern}{last}", *text.mm
    )


def without_stop(text: str) -> str:
    """A sentence to go on after."""
    if not isinstance(text, Said):
        return text.removesuffix(".")
    return said_in_each(
        text.pattern.removesuffix("."), text.inch_pattern.removesuffix("."), *text.mm
    )


def to_reader(text: str, *, inch: bool) -> str:
    """A sentence as its reader reads it."""
    if isinstance(text, Said):
        return say(text.inch_pattern if inch else text.pattern, text.mm, inch=inch)
    return text


def plain(text: str) -> str:
    """A name from outside, to stand in a pattern: its braces are only braces."""
    return text.replace("{", "{{").replace("}", "}}")


def say(pattern: str, mm: tuple[float, ...], *, inch: bool) -> str:
    return pattern.format(*(_Length(each, inch) for each in mm))


def stored(text: str) -> dict[str, Any]:
    """A sentence as it is stored."""
    if isinstance(text, Said):
        found = {"text": str(text), "pattern": text.pattern, "mm": list(text.mm)}
        if text.inch_pattern != text.pattern:
            found["inch_pattern"] = text.inch_pattern
        return found
    return {"text": text}


def restored(sentence: Mapping[str, Any]) -> str:
    """A stored sentence as it was before it was stored, for any reader."""
    if "pattern" in sentence:
        pattern = sentence["pattern"]
        return said_in_each(pattern, sentence.get("inch_pattern", pattern), *sentence["mm"])
    return str(sentence["text"])


def said_again(sentence: Mapping[str, Any], text: str) -> str:
    """A stored sentence; one stored before its numbers were is `text` alone."""
    return restored(sentence) if sentence else text


def in_units(sentence: Mapping[str, Any], *, inch: bool) -> str:
    """A stored sentence for its reader; one stored before its numbers were is as it was written."""
    return to_reader(restored(sentence), inch=inch)
