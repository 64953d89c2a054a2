"""Sentences with lengths in them, stored with the numbers: each reader gets their own unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from planning.calc.units import in_from_mm

PER_MIN: Final = "/min"


class Said(str):
    """A sentence as it reads in mm. `pattern` and `mm` are what it is made of."""

    __slots__ = ("mm", "pattern")
    pattern: str
    mm: tuple[float, ...]

    def __reduce__(self) -> tuple[Any, ...]:
        return said, (self.pattern, *self.mm)


@dataclass(frozen=True, slots=True)
class _Length:
    """Written by a format as `.4g`: with its unit, without it after `n`, a minute after `/min`."""

    mm: float
    inch: bool

    def __format__(self, spec: str) -> str:
        speed = spec.startswith(PER_MIN)
        bare = spec.startswith("n")
        digits = spec.removeprefix(PER_MIN).removeprefix("n") or "g"
        if self.inch:
            figure = f"{in_from_mm(self.mm):.{1 if speed else 3}f}".rstrip("0").rstrip(".")
        else:
            figure = format(self.mm, digits)
        unit = "in" if self.inch else "mm"
        return figure if bare else f"{figure} {unit}{PER_MIN if speed else ''}"


def said(pattern: str, *mm: float) -> Said:
    """`pattern` is a format string: `{0:.4g}` the first length with its unit, `{0:n.4g}` without,
    `{0:/min}` a speed. Lengths in mm, speeds in mm/min."""
    made = Said(say(pattern, mm, inch=False))
    made.pattern, made.mm = pattern, tuple(float(each) for each in mm)
    return made


def plain(text: str) -> str:
    """A name from outside, to stand in a pattern: its braces are only braces."""
    return text.replace("{", "{{").replace("}", "}}")


def say(pattern: str, mm: tuple[float, ...], *, inch: bool) -> str:
    return pattern.format(*(_Length(each, inch) for each in mm))


def stored(text: str) -> dict[str, Any]:
    """A sentence as it is stored."""
    if isinstance(text, Said):
        return {"text": str(text), "pattern": text.pattern, "mm": list(text.mm)}
    return {"text": text}


def restored(sentence: Mapping[str, Any]) -> str:
    """A stored sentence as it was before it was stored, for any reader."""
    if "pattern" in sentence:
        return said(sentence["pattern"], *sentence["mm"])
    return str(sentence["text"])


def in_units(sentence: Mapping[str, Any], *, inch: bool) -> str:
    """A stored sentence for its reader; one stored before its numbers were is as it was written."""
    if "pattern" in sentence:
        return say(sentence["pattern"], tuple(sentence["mm"]), inch=inch)
    return str(sentence["text"])
