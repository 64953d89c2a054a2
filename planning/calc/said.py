"""Sentences kept with the numbers and names in them: each reader gets their own unit and language.

A sentence is made of a message with names in braces, which is what is translated, and of values.
It is written out as a person reads it in one place, `to_reader`; until then, and as a plain `str`,
it is the English one in mm.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from planning.calc.inches import ft_from_mm, in_from_mm
from planning.calc.numbers import filled, marked
from planning.calc.translated import gettext, ngettext

PER_MIN: Final = "/min"
Value = str | int | float


class Said(str):
    """A sentence as it reads in mm, in English. `pattern` with `mm` and `values` is what it is made
    of; `inch_pattern` stands for it where a reader of inches needs other words; `many` with the
    value `number` where more than one of something does. A value may be such a sentence itself."""

    __slots__ = ("inch_pattern", "many", "mm", "pattern", "values")
    pattern: str
    inch_pattern: str
    many: str
    mm: tuple[float, ...]
    values: dict[str, Value]

    def __reduce__(self) -> tuple[Any, ...]:
        return _made, (self.pattern, self.inch_pattern, self.many, self.mm, self.values)


@dataclass(frozen=True, slots=True)
class _Length:
    """Written by a format as `.4g`: with its unit, without it after `n`, a minute after `/min`; a
    long one in m or ft after `m`, an area in m² or ft² after `m2`."""

    mm: float
    inch: bool
    local: bool

    def __format__(self, spec: str) -> str:
        return marked(self._english(spec)) if self.local else self._english(spec)

    def _english(self, spec: str) -> str:
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


class _Text(str):
    """A sentence in another one: after `open` without its full stop, to go on after."""

    def __format__(self, spec: str) -> str:
        return self.removesuffix(".") if spec == "open" else super().__format__(spec)


def said(pattern: str, *mm: float, **values: Value) -> Said:
    """`pattern` is a format string: `{0:.4g}` the first length with its unit, `{0:n.4g}` without,
    `{0:/min}` a speed, `{0:m,.1f}` a length in m, `{0:m2,.3f}` an area in m², `{name}` a value,
    `{name:open}` a sentence without its full stop. Lengths in mm, areas in mm², speeds in
    mm/min."""
    return _made(pattern, pattern, "", mm, values)


def said_in_each(pattern: str, inch_pattern: str, *mm: float, **values: Value) -> Said:
    """A sentence whose words differ with the unit: a metre, a foot."""
    return _made(pattern, inch_pattern, "", mm, values)


def said_of_many(one: str, many: str, number: int, *mm: float, **values: Value) -> Said:
    """A sentence whose words differ with a number: 1 sheet, 3 sheets. `{number}` is that."""
    return _made(one, one, many, mm, {"number": number, **values})


def _made(
    pattern: str, inch_pattern: str, many: str, mm: tuple[float, ...], values: Mapping[str, Value]
) -> Said:
    lengths = tuple(float(each) for each in mm)
    chosen = many if many and values["number"] != 1 else pattern
    made = Said(_written(chosen, lengths, values, inch=False, local=False))
    made.pattern, made.inch_pattern, made.many = pattern, inch_pattern, many
    made.mm, made.values = lengths, dict(values)
    return made


def around(before: str, text: str, after: str = "") -> str:
    """`text` with plain words before and after it; its lengths stay numbers."""
    if not isinstance(text, Said):
        return f"{before}{text}{after}"
    return said("{before}{text}{after}", before=before, text=text, after=after)


def without_stop(text: str) -> str:
    """A sentence to go on after."""
    if not isinstance(text, Said):
        return text.removesuffix(".")
    return said("{text:open}", text=text)


def listed(parts: Sequence[str], between: str = ", ") -> str:
    """Sentences one after the other, each still with what it is made of."""
    if not any(isinstance(part, Said) for part in parts):
        return between.join(parts)
    named = {f"part{i}": part for i, part in enumerate(parts)}
    return said(plain(between).join(f"{{{name}}}" for name in named), **named)


def to_reader(text: str, *, inch: bool) -> str:
    """A sentence as its reader reads it."""
    if not isinstance(text, Said):
        return text
    if text.many:
        pattern = ngettext(text.pattern, text.many, int(text.values["number"]))
    else:
        pattern = gettext(text.inch_pattern if inch else text.pattern)
    values = {
        name: to_reader(value, inch=inch) if isinstance(value, Said) else value
        for name, value in text.values.items()
    }
    return _written(pattern, text.mm, values, inch=inch, local=True)


def told(problem: BaseException) -> str:
    """What an error says, with what it is made of where that was kept."""
    said_so = problem.args[0] if problem.args else ""
    return said_so if isinstance(said_so, Said) else str(problem)


def with_names(text: str, names: Mapping[str, str]) -> str:
    """A sentence in which each value that is one of `names` stands under that name."""
    if not isinstance(text, Said):
        return text
    values = {
        key: names.get(value, value) if isinstance(value, str) else value
        for key, value in text.values.items()
    }
    return _made(text.pattern, text.inch_pattern, text.many, text.mm, values)


def _written(
    pattern: str,
    mm: tuple[float, ...],
    values: Mapping[str, Value],
    *,
    inch: bool,
    local: bool,
) -> str:
    """`local`: in the reader's marks of numbers."""
    texts = {name: _Text(one) if isinstance(one, str) else one for name, one in values.items()}
    lengths = [_Length(each, inch, local) for each in mm]
    return filled(pattern, *lengths, **texts) if local else pattern.format(*lengths, **texts)


def plain(text: str) -> str:
    """A name from outside, to stand in a pattern: its braces are only braces."""
    return text.replace("{", "{{").replace("}", "}}")


def stored(text: str) -> dict[str, Any]:
    """A sentence as it is stored."""
    if not isinstance(text, Said):
        return {"text": text}
    found: dict[str, Any] = {
        "text": str(text),
        "pattern": text.pattern,
        "mm": [_kept(each) for each in text.mm],
    }
    if text.inch_pattern != text.pattern:
        found["inch_pattern"] = text.inch_pattern
    if text.many:
        found["many"] = text.many
    if text.values:
        found["values"] = {
            name: stored(value) if isinstance(value, Said) else _kept(value)
            for name, value in text.values.items()
        }
    return found


def _kept(value: Value) -> Value:
    """JSON knows no number that is not finite."""
    return str(value) if isinstance(value, float) and not math.isfinite(value) else value


def restored(sentence: Mapping[str, Any]) -> str:
    """A stored sentence as it was before it was stored, for any reader."""
    if "pattern" not in sentence:
        return str(sentence["text"])
    pattern = sentence["pattern"]
    values = {
        name: restored(value) if isinstance(value, Mapping) else value
        for name, value in sentence.get("values", {}).items()
    }
    inch_pattern, many = sentence.get("inch_pattern", pattern), sentence.get("many", "")
    return _made(pattern, inch_pattern, many, tuple(sentence["mm"]), values)


def said_again(sentence: Mapping[str, Any], text: str) -> str:
    """A stored sentence; one stored before its numbers were is `text` alone."""
    return restored(sentence) if sentence else text


def in_units(sentence: Mapping[str, Any], *, inch: bool) -> str:
    """A stored sentence for its reader; one stored before its numbers were is as it was written."""
    return to_reader(restored(sentence), inch=inch)
