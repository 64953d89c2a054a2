"""Units, sheet gauges, densities: the only place where figures change their unit.

SI inside (mm, s, kg); inches, gauges and minutes are how people write and read them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from planning.calc.inches import M_PER_FT as M_PER_FT
from planning.calc.inches import MM_PER_IN as MM_PER_IN
from planning.calc.inches import ft_from_mm as ft_from_mm
from planning.calc.inches import in_from_mm as in_from_mm
from planning.calc.said import said

S_PER_MIN: Final = 60.0
LB_PER_KG: Final = 1 / 0.45359237
KPA_PER_BAR: Final = 100.0
KPA_PER_PSI: Final = 0.45359237 * 9.80665 / 0.0254**2 / 1000  # pound-force a square inch

# Overrides by (material family, gauge), in mm: lists of gauges in circulation disagree.
GaugeOverrides = Mapping[tuple[str, int], float]


class UnitError(ValueError):
    """A size that cannot be read, or a gauge or material that is not known."""


def mm_from_in(inches: float) -> float:
    return inches * MM_PER_IN


def mm_s_from_mm_min(mm_min: float) -> float:
    return mm_min / S_PER_MIN


def lb_from_kg(kg: float) -> float:
    return kg * LB_PER_KG


def looks_like_inch_mix(a: float, b: float, slack: float = 0.02) -> bool:
    """Whether one of two figures that should agree is 25.4 times the other, within ``slack``
    (a share). Our assumption: 2 % tells a mixed unit from a different choice."""
    if not (a > 0 and b > 0):
        return False
    ratio = max(a / b, b / a) / MM_PER_IN
    return abs(ratio - 1) <= slack


# Plate and sheet that plasma cuts, as our assumption: 26 ga of aluminium is 0.40 mm, and beyond
# 100 mm (4 in) nobody pierces. Pieces of plate under 0.3 m are kept by nobody.
THINNEST_MM: Final = 0.4
THICKEST_IN: Final = 4.0
SHORTEST_PLATE_MM: Final = 300.0
LONGEST_PLATE_MM: Final = 15_000.0


def bare_thickness_question(value: float, *, inch_shop: bool) -> str:
    """What to ask of a thickness typed without a unit, which would be read as mm; blank where mm
    is the only unit that fits. A shop that works in inches may mean anything up to 4 in."""
    if value < THINNEST_MM and mm_from_in(value) >= THINNEST_MM:
        return said(
            "{value:g} mm is thinner than any plate: write {value:g} in, or {value:g} mm",
            value=value,
        )
    if inch_shop and value <= THICKEST_IN:
        return said("in or mm? Write {value:g} in, or {value:g} mm", value=value)
    return ""


def plate_unit_question(length: float, width: float, *, inch: bool) -> str:
    """What to ask where a plate's two sides fit the other unit better; blank where they do not."""
    longest = max(length, width)
    if inch:
        too_long = mm_from_in(longest) > LONGEST_PLATE_MM and longest >= SHORTEST_PLATE_MM
        return (
            said(
                "{length:g} x {width:g} in is longer than any plate; in mm?",
                length=length,
                width=width,
            )
            if too_long
            else ""
        )
    too_short = longest < SHORTEST_PLATE_MM and mm_from_in(longest) >= SHORTEST_PLATE_MM
    return (
        said(
            "{length:g} x {width:g} mm is a small piece for a plate; in inches?",
            length=length,
            width=width,
        )
        if too_short
        else ""
    )


# kg/m3. From memory of handbook tables; grades differ by about 1 %.
DENSITY_KG_M3: Final[Mapping[str, float]] = {
    "mild steel": 7850.0,
    "galvanised": 7850.0,
    "stainless": 8000.0,
    "aluminium": 2700.0,
    "copper": 8960.0,
    "brass": 8530.0,
}

_FAMILY_WORDS: Final[tuple[tuple[str, str], ...]] = (
    (r"galv|zinc", "galvanised"),
    (r"stainless|inox|\b(?:3(?:04|16|21)l?|430|ss)\b", "stainless"),
    (r"alumin|\b(?:al|1100|3003|5052|5083|5754|6061)\b", "aluminium"),
    (r"copper", "copper"),
    (r"brass", "brass"),
    (r"mild|carbon|steel|\b(?:ms|a36|s235\w*|s275\w*|s355\w*)\b", "mild steel"),
)


def material_family(material: str) -> str | None:
    """The family of a material as a shop writes it (``A36``, ``304L``), None if not known."""
    bare = material.strip().lower()
    for pattern, family in _FAMILY_WORDS:
        if re.search(pattern, bare):
            return family
    return None


# Manufacturers' Standard Gauge: ounces per square foot. Gauges 7, 8, 10-14, 16, 18, 20, 22 and 24
# as in two stored tables; 3-6, 9, 15, 17, 19, 21, 23, 25-30 from memory of the same schedule.
_OZ_FT2: Final[Mapping[int, float]] = {
    3: 160, 4: 150, 5: 140, 6: 130, 7: 120, 8: 110, 9: 100, 10: 90, 11: 80, 12: 70, 13: 60, 14: 50,
    15: 45, 16: 40, 17: 36, 18: 32, 19: 28, 20: 24, 21: 22, 22: 20, 23: 18, 24: 16, 25: 14, 26: 12,
    27: 11, 28: 10, 29: 9, 30: 8,
}  # fmt: skip
_GALVANISED_COAT_IN: Final = 0.0037


def gauge_mm(gauge: int, material: str, overrides: GaugeOverrides | None = None) -> float:
    """Nominal thickness in mm of a sheet gauge; ``overrides`` (family, gauge) win.

    Carbon steel: Manufacturers' Standard Gauge, (oz/ft2 / 16) / 41.82 in. Galvanised: that plus
    0.0037 in, gauges 8 and up. Stainless: US Standard Gauge (US Code title 15 s. 206), oz / 640 in.
    Aluminium, copper, brass: Brown & Sharpe, 0.005 x 92^((36 - gauge)/39) in. A stainless list that
    nearly equals carbon steel circulates too, so let the shop override. Raises ``UnitError``.
    """
    family = material_family(material)
    if family is None:
        raise UnitError(
            said(
                "a gauge says nothing without its metal, and {material!r} is not known",
                material=material,
            )
        )
    if overrides is not None and (family, gauge) in overrides:
        return overrides[family, gauge]
    if family in ("aluminium", "copper", "brass"):
        if not 0 <= gauge <= 40:
            raise UnitError(
                said("{gauge} gauge is not in the Brown & Sharpe range of 0 to 40", gauge=gauge)
            )
        return mm_from_in(0.005 * 92 ** ((36 - gauge) / 39))
    if gauge not in _OZ_FT2 or (family == "galvanised" and gauge < 8):
        raise UnitError(
            said("{gauge} gauge is not in the table for {family}", gauge=gauge, family=family)
        )
    if family == "stainless":
        return mm_from_in(_OZ_FT2[gauge] / 640)
    bare = _OZ_FT2[gauge] / 16 / 41.82
    return mm_from_in(bare + (_GALVANISED_COAT_IN if family == "galvanised" else 0.0))


def weight_kg(area_mm2: float, thickness_mm: float, material: str) -> float:
    """Weight in kg from area, thickness and the density of the material's family. Valid to about
    1 % (grades, mill tolerance). Raises ``UnitError`` for a material that is not known."""
    family = material_family(material)
    if family is None:
        raise UnitError(said("no density is known for {material!r}", material=material))
    return area_mm2 * thickness_mm * 1e-9 * DENSITY_KG_M3[family]


_NUMBER = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_GAUGE = re.compile(r"(?:#\s*)?([0-9]{1,2})\s*(?:ga|gauge|gage)\.?|#\s*([0-9]{1,2})")
_SIZE = re.compile(
    rf"(?:(?:(?P<whole>[0-9]+)[\s-]+)?(?P<num>[0-9]+)\s*/\s*(?P<den>[0-9]+)|(?P<dec>{_NUMBER}))"
    r"\s*(?P<unit>mm|in(?:ch(?:es)?)?\.?|\"|″|'')?"
)


@dataclass(frozen=True, slots=True)
class Thickness:
    """A thickness: the text as typed and the nominal mm it stands for."""

    text: str
    nominal_mm: float

    @classmethod
    def parse(
        cls,
        text: str,
        material: str = "",
        *,
        bare_inch: bool = False,
        overrides: GaugeOverrides | None = None,
        inch_shop: bool = False,
    ) -> Thickness:
        """Read ``16 ga``, ``1/4 in``, ``0.25"``, ``6 mm``, ``6``; a gauge needs ``material``.

        A bare number is mm, or inches with ``bare_inch``; a bare fraction is inches. A bare number
        that fits the other unit too (``bare_thickness_question``) is not taken. Raises
        ``UnitError``.
        """
        bare = text.strip().lower()
        if gauge := _GAUGE.fullmatch(bare):
            return cls(text, gauge_mm(int(gauge[1] or gauge[2]), material, overrides))
        size = _SIZE.fullmatch(bare)
        if size is None:
            raise UnitError(
                said("{text!r} is not a thickness such as 6 mm, 1/4 in or 16 ga", text=text)
            )
        fraction = size["num"] is not None
        if fraction and int(size["den"]) == 0:
            raise UnitError(said("{text!r} divides by nothing", text=text))
        value = (
            float(int(size["whole"] or 0) + Fraction(int(size["num"]), int(size["den"])))
            if fraction
            else float(size["dec"].replace(",", "."))
        )
        bare_mm = not size["unit"] and not fraction and not bare_inch
        if bare_mm and (question := bare_thickness_question(value, inch_shop=inch_shop)):
            raise UnitError(f"{text!r}: {question}")
        inch = size["unit"] != "mm" if size["unit"] else (fraction or bare_inch)
        mm = mm_from_in(value) if inch else value
        if not 0 < mm < 1000:
            raise UnitError(said("{text!r} is not a thickness above 0 and below 1 m", text=text))
        return cls(text, mm)
