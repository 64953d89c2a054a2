"""Whether a plate serves a nest: one rule for the office's lists and the floor's terminals."""

from __future__ import annotations

from django.db.models import Q
from django.utils.translation import gettext as _

from planning.calc.numbers import filled
from planning.calc.units import in_from_mm
from shopfloor.chart.fit import PlateFit, fit, plates_fitting
from shopfloor.models import Nest, NestRevision, Sheet

SIZE_SLACK_MM = 5.0  # plates are measured by hand: our assumption


def plates_like(nest: Nest) -> Q:
    """Sheets of the nest's material and about its thickness; their size is not looked at."""
    return plates_fitting(nest.material_id, nest.thickness_mm, PlateFit.NEAR)


def plate_unfit(
    sheet: Sheet, revision: NestRevision | None, nest: Nest, *, inch: bool = False
) -> str:
    """In words, why a sheet does not serve; blank where it does. A revision of which no size is
    known is asked nothing of it. `inch`: how who reads it reads lengths."""
    if sheet.material_id != nest.material_id:
        return _("Sheet {sheet} is {material}, the nest is for {wanted}.").format(
            sheet=sheet.code, material=sheet.material, wanted=nest.material
        )
    if fit(sheet.thickness_mm, nest.thickness_mm) < PlateFit.NEAR:
        return _("Sheet {sheet} is {thickness}, the nest is for {wanted}.").format(
            sheet=sheet.code, thickness=sheet.thickness_text, wanted=nest.thickness_text
        )
    size = nest_size_mm(revision)
    if size is not None and not holds(sheet, size):
        return _("Sheet {sheet} is {length_mm}, the nest takes {size_words}.").format(
            sheet=sheet.code,
            length_mm=size_words(sheet.length_mm, sheet.width_mm, inch),
            size_words=size_words(*size, inch),
        )
    return ""


def nest_size_mm(revision: NestRevision | None) -> tuple[float, float] | None:
    """Along X and along Y; None where it is not known."""
    if revision is None or len(revision.extents_mm) != 4:
        return None
    x_min, y_min, x_max, y_max = revision.extents_mm
    return x_max - x_min, y_max - y_min


def holds(sheet: Sheet, size_mm: tuple[float, float]) -> bool:
    """Whether a rectangle lies on the sheet, turned by a quarter or not."""
    sides = sorted((sheet.length_mm, sheet.width_mm))
    return all(
        long <= side + SIZE_SLACK_MM for long, side in zip(sorted(size_mm), sides, strict=True)
    )


def size_words(length_mm: float, width_mm: float, inch: bool) -> str:
    if inch:
        return filled(
            _("{length_mm:.1f} x {width_mm:.1f} in"),
            length_mm=in_from_mm(length_mm),
            width_mm=in_from_mm(width_mm),
        )
    return filled(_("{length_mm:.0f} x {width_mm:.0f} mm"), length_mm=length_mm, width_mm=width_mm)
