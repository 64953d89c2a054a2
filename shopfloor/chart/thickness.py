"""A plate's thickness as people type it."""

from __future__ import annotations

from django.core.exceptions import ValidationError

from planning.calc.said import to_reader, told
from planning.calc.units import Thickness, UnitError
from shopfloor.models import Material, Units
from shopfloor.site.queries import the_shop


def thickness_of(text: str, material: Material, *, typed: bool = True) -> Thickness:
    """A thickness as typed, in nominal mm; a gauge goes by the material. Raises ValidationError,
    also for a bare number just `typed` that may be meant in either unit."""
    inch_shop = typed and the_shop().units == Units.INCH
    try:
        return Thickness.parse(text, material.family or material.code, inch_shop=inch_shop)
    except UnitError as problem:
        raise ValidationError({"thickness_text": to_reader(told(problem), inch=False)}) from problem
