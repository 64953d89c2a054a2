"""Lengths and speeds as each person reads them: mm, or inches for those who chose them."""

from __future__ import annotations

from django.utils.translation import gettext as _

from planning.calc.numbers import filled, written
from planning.calc.units import MM_PER_IN, in_from_mm
from shopfloor.wording.typed import typed

_UNITS = (("_mm_min", "in/min"), ("_mm_s2", "in/s2"), ("_mm_s", "in/s"), ("_mm", "in"))


def thick(mm: float, *, inch: bool) -> str:
    """A plate's thickness: 6 mm, 0.236 in."""
    if inch:
        return typed(filled(_("{mm:.3f} in"), mm=in_from_mm(mm)), in_from_mm(mm), "in")
    return typed(filled(_("{mm:g} mm"), mm=mm), mm, "mm")


def depth(mm: float, *, inch: bool) -> str:
    """A pit or a slope, without its unit: hundredths of a mm, tenths of a thousandth of an inch."""
    return written(in_from_mm(mm), ".4f") if inch else written(mm, ".2f")


def depth_said(mm: float, *, inch: bool) -> str:
    return f"{depth(mm, inch=inch)} {unit(inch=inch)}"


def unit(*, inch: bool) -> str:
    return "in" if inch else "mm"


def named(name: str, value: float, *, inch: bool) -> tuple[str, float]:
    """A figure whose name ends in its unit, and what to call it."""
    if inch:
        for ending, called in _UNITS:
            if name.endswith(ending):
                return f"{name.removesuffix(ending)} {called}", value / MM_PER_IN
    return name, value
