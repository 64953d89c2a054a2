"""Sheets on their way over the table, and what is left of them."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from planning.calc.cost import remnant_value
from planning.calc.units import mm_from_in
from shopfloor.audit.undo_record import UndoRecord
from shopfloor.errors import FloorError
from shopfloor.models import Sheet, SheetState
from shopfloor.site.queries import the_shop
from shopfloor.stock.plate_fit import size_words

SHORTEST_REMNANT_MM = 100.0


def sheet_state(*, sheet: Sheet, state: str, undo_record: UndoRecord | None = None) -> None:
    if state not in SheetState.values:
        raise FloorError(_("{state!r} is not a state of a sheet.").format(state=state))
    (undo_record or UndoRecord()).change(sheet, state=state)


@transaction.atomic
def remnant_add(
    *,
    sheet: Sheet,
    length_mm: float,
    width_mm: float,
    at: datetime,
    area_mm2: float | None = None,
    place: str = "",
    code: str = "",
    inch: bool = False,
    undo_record: UndoRecord | None = None,
) -> Sheet:
    """What is left of a sheet, as stock of its own with the sheet's heat and owner. Its cost is
    the share of the sheet's by area, times the shop's factor; unknown where the sheet's is, 0
    for a customer's plate, and what scrap brings below the shop's smallest remnant. `inch`: how
    who measured it reads lengths."""
    if length_mm <= 0 or width_mm <= 0:
        raise FloorError(_("A remnant has a length and a width above zero."))
    area = area_mm2 if area_mm2 is not None else length_mm * width_mm
    if not 0 < area <= sheet.area_mm2:
        raise FloorError(
            _("The remnant is larger than its sheet."),
            _("Check the two sizes and their unit."),
            ask="remnant",
        )
    if _meant_in_inches(sheet, length_mm, width_mm):
        raise FloorError(
            (
                _("{size} is too small for a remnant.")
                if inch
                else _("{size} is too small for a remnant. Was it measured in inches?")
            ).format(size=size_words(length_mm, width_mm, inch)),
            (
                _("Enter it in inches, or leave the remnant out.")
                if inch
                else _("Enter it in mm, or leave the remnant out.")
            ),
            ask="remnant",
        )
    if area > length_mm * width_mm * (1 + 1e-9):
        raise FloorError(_("The remnant's area is larger than its length times its width."))
    return (undo_record or UndoRecord()).create(
        Sheet(
            code=code or _free_code(sheet),
            material=sheet.material,
            thickness_mm=sheet.thickness_mm,
            thickness_text=sheet.thickness_text,
            length_mm=length_mm,
            width_mm=width_mm,
            area_mm2=area,
            heat=sheet.heat,
            owner=sheet.owner,
            cost_minor=remnant_worth(sheet, area),
            parent=sheet,
            place=place[:40],
            received_at=at,
        )
    )


def _meant_in_inches(sheet: Sheet, length_mm: float, width_mm: float) -> bool:
    """Both sides shorter than a hand is wide, and a piece of the sheet once read as inches."""
    inches = sorted((mm_from_in(length_mm), mm_from_in(width_mm)))
    sides = sorted((sheet.length_mm, sheet.width_mm))
    fits = all(one <= side for one, side in zip(inches, sides, strict=True))
    return fits and max(length_mm, width_mm) < SHORTEST_REMNANT_MM


def remnant_worth(sheet: Sheet, area_mm2: float) -> int | None:
    """What a remnant of an area is worth, by its sheet; None: unknown."""
    if sheet.owner_id is not None:
        return 0
    if sheet.cost_minor is None:
        return None
    shop = the_shop()
    return remnant_value(
        sheet.cost_minor,
        sheet.area_mm2,
        area_mm2,
        factor=shop.remnant_factor,
        least_mm2=shop.remnant_min_mm2,
        left_kg=area_mm2 * sheet.thickness_mm * 1e-9 * sheet.material.density_kg_m3,
        scrap_minor_kg=shop.scrap_minor_kg,
    )


def _free_code(sheet: Sheet) -> str:
    taken = set(Sheet.objects.filter(code__startswith=sheet.code).values_list("code", flat=True))
    number = 1
    while (code := f"{sheet.code[:36]}-R{number}") in taken:
        number += 1
    return code
