"""Lengths and speeds as each person reads them: mm, or inches for those who chose them."""

from __future__ import annotations

import re

from planning.calc.said import Said, say
from planning.calc.units import MM_PER_IN, ft_from_mm, in_from_mm

# A figure before "mm", "mm/min" or "mm/s2" in a sentence of a report.
_IN_WORDS = re.compile(r"(?<![\w.,])(\d[\d,]*(?:\.\d+)?) mm(/min|/s2|/s)?(?![\w/])")
# A length of cut or an area in one, what a length costs said both ways, and their words.
_LONG = re.compile(r"(?<![\w.,])(\d[\d,]*(?:\.\d+)?) m(²?)(?![\w/²])")
_EACH = re.compile(r"([−\d][\d.,]*(?: \w+)? a metre), ([−\d][\d.,]*(?: \w+)? a foot)")
_PROSE = {"metre": "foot", "metres": "feet"}
_PROSE_WORD = re.compile(r"\b(metres?)\b")
_UNITS = (("_mm_min", "in/min"), ("_mm_s2", "in/s2"), ("_mm_s", "in/s"), ("_mm", "in"))


def thick(mm: float, *, inch: bool) -> str:
    """A plate's thickness: 6 mm, 0.236 in."""
    return f"{in_from_mm(mm):.3f} in" if inch else f"{mm:g} mm"


def fine(mm: float, *, inch: bool) -> str:
    """A pit or a slope, without its unit: hundredths of a mm, tenths of a thousandth of an inch."""
    return f"{in_from_mm(mm):.4f}" if inch else f"{mm:.2f}"


def fine_said(mm: float, *, inch: bool) -> str:
    return f"{fine(mm, inch=inch)} {unit(inch=inch)}"


def unit(*, inch: bool) -> str:
    return "in" if inch else "mm"


def words(text: str, *, inch: bool) -> str:
    """A sentence of a report with its lengths and speeds in inches or feet, for who reads those."""
    if isinstance(text, Said):  # it holds its numbers: nothing has to be looked for
        return say(text.pattern, text.mm, inch=inch)
    text = _EACH.sub(r"\2" if inch else r"\1", text)
    if not inch:
        return text
    text = _PROSE_WORD.sub(lambda found: _PROSE[found[1]], text)
    return _LONG.sub(_turned_long, _IN_WORDS.sub(_turned, text))


def named(name: str, value: float, *, inch: bool) -> tuple[str, float]:
    """A figure whose name ends in its unit, and what to call it."""
    if inch:
        for ending, called in _UNITS:
            if name.endswith(ending):
                return f"{name.removesuffix(ending)} {called}", value / MM_PER_IN
    return name, value


def _turned(found: re.Match[str]) -> str:
    inches = float(found[1].replace(",", "")) / MM_PER_IN
    digits = 0 if found[2] and inches >= 100 else 1 if found[2] else 3
    return f"{inches:,.{digits}f} in{found[2] or ''}"


def _turned_long(found: re.Match[str]) -> str:
    """5.2 m as 17.1 ft, 0.932 m² as 10.03 ft²."""
    feet = ft_from_mm(float(found[1].replace(",", "")) * 1000)
    if found[2]:
        return f"{feet * ft_from_mm(1000):,.2f} ft²"
    return f"{feet:,.1f} ft"
