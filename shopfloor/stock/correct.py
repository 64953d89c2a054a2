"""Putting right what was entered when a sheet came in: its size, thickness, heat or cost."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting, current_who
from shopfloor.background.request import request_work
from shopfloor.chart.thickness import thickness_of
from shopfloor.models import Run, Sheet
from shopfloor.stock.services import remnant_worth
from shopfloor.stock.sheets import heat_named

FIELDS = ("thickness_mm", "thickness_text", "length_mm", "width_mm", "area_mm2", "heat",
          "cost_minor")  # fmt: skip


@transaction.atomic
def sheet_correct(
    *,
    sheet: Sheet,
    thickness_text: str,
    length_mm: float,
    width_mm: float,
    heat_number: str,
    cost_minor: int | None,
    why: str,
) -> None:
    """Changes what was received, with the reason on the audit trail. Its remnants take the same
    thickness and heat, and their worth where it was this sheet's share; runs that burnt any of
    them are reckoned anew, by postings that reverse. Raises ValidationError."""
    if not why.strip():
        raise ValidationError({"why": _("Say why: it stays beside the change.")})
    sheet = Sheet.objects.select_for_update().select_related("material").get(pk=sheet.pk)
    if sheet.owner_id is not None and cost_minor:
        raise ValidationError({"cost": _("A customer's own plate has no cost.")})
    size = sheet.thickness_text, sheet.thickness_mm
    if thickness_text.strip() != sheet.thickness_text:
        parsed = thickness_of(thickness_text, sheet.material)
        size = parsed.text.strip(), parsed.nominal_mm
    heat = heat_named(number=heat_number, material=sheet.material) if heat_number.strip() else None
    with acting(current_who(), why=why):
        worth = {one.pk: remnant_worth(sheet, one.area_mm2) for one in sheet.remnants.all()}
        sheet.thickness_text, sheet.thickness_mm = size
        sheet.heat = heat
        if (length_mm, width_mm) != (sheet.length_mm, sheet.width_mm):
            _resize(sheet, length_mm, width_mm)
        if sheet.owner_id is None:
            sheet.cost_minor = cost_minor
        sheet.full_clean()
        sheet.save(update_fields=FIELDS)
        _remnants_follow(sheet, worth)
        _reckon_anew(sheet)


def _resize(sheet: Sheet, length_mm: float, width_mm: float) -> None:
    """A remnant may be less than its rectangle: it keeps the share of it."""
    share = sheet.area_mm2 / (sheet.length_mm * sheet.width_mm)
    sheet.length_mm, sheet.width_mm = length_mm, width_mm
    sheet.area_mm2 = length_mm * width_mm * share
    largest = max(sheet.remnants.values_list("area_mm2", flat=True), default=0.0)
    if sheet.area_mm2 < largest:
        raise ValidationError({"length": _("A remnant of it is larger than that.")})


def _remnants_follow(sheet: Sheet, worth: dict[int, int | None]) -> None:
    for one in sheet.remnants.select_related("material"):
        before = {grandchild.pk: remnant_worth(one, grandchild.area_mm2)
                  for grandchild in one.remnants.all()}  # fmt: skip
        one.thickness_text, one.thickness_mm = sheet.thickness_text, sheet.thickness_mm
        one.heat = sheet.heat
        if one.cost_minor == worth[one.pk]:
            one.cost_minor = remnant_worth(sheet, one.area_mm2)
        one.save(update_fields=["thickness_text", "thickness_mm", "heat", "cost_minor"])
        _remnants_follow(one, before)
        _reckon_anew(one)


def _reckon_anew(sheet: Sheet) -> None:
    for run in Run.objects.filter(sheet=sheet):
        request_work(kind="run", key=str(run.pk))
    request_work(kind="sheet", key=str(sheet.pk))
