"""Keeping the parts of a list: each is a drawing, and all are kept or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from planning.calc import drawing as calc
from shopfloor.chart.fit import is_equal
from shopfloor.drawings.services import drawing_add, drawing_revise
from shopfloor.models import Drawing, Material, User


@dataclass(frozen=True, slots=True)
class PartToKeep:
    name: str
    file_name: str
    raw: bytes
    reading: calc.Reading
    read: calc.Drawing
    material: Material
    thickness_text: str
    thickness_mm: float
    quantity: int


def same_part(name: str, material: Material, thickness_mm: float) -> tuple[Drawing | None, bool]:
    """The drawing of that name, if there is one, and whether it is of that material and
    thickness: then another file is its next revision."""
    known = Drawing.objects.select_related("material").filter(name=name.strip()).first()
    if known is None:
        return None, True
    same = is_equal(known.thickness_mm, thickness_mm) and known.material_id == material.pk
    return known, same


@transaction.atomic
def parts_keep(*, parts: Sequence[PartToKeep], by: User) -> list[tuple[Drawing, int]]:
    """Each part's drawing and how many are wanted. A drawing of that name gets the file as its
    next revision; the same file read in the same way changes nothing, so keeping a list twice
    does no harm. Raises ValidationError."""
    return [(_kept(part, by), part.quantity) for part in parts]


def _kept(part: PartToKeep, by: User) -> Drawing:
    known, same = same_part(part.name, part.material, part.thickness_mm)
    if known is None or not same:
        return drawing_add(
            name=part.name, file_name=part.file_name, raw=part.raw, material=part.material,
            thickness_text=part.thickness_text, reading=part.reading, by=by, read=part.read,
        )  # fmt: skip
    drawing_revise(
        drawing=known, file_name=part.file_name, raw=part.raw, reading=part.reading, by=by,
        read=part.read,
    )  # fmt: skip
    return known
