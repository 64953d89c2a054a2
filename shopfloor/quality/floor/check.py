"""A measured cut, and the second signature under it."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.models import Check, Units, User
from shopfloor.quality.queries import correction_words, verdict_words
from shopfloor.quality.services import Measured, check_countersign, check_record
from shopfloor.quality.tolerances import size_verdict


def check(request: ActionRequest) -> dict[str, Any]:
    passed = request.payload.get("passed")
    if passed is not None and not isinstance(passed, bool):
        raise FloorError(_("Good or not good?"))
    names = ("u_mm", "angle_deg", "top_mm", "bottom_mm", "thickness_mm", "rz5_um", "kerf_mm",
             "nominal_mm")  # fmt: skip
    values = {name: request.number(name) for name in names}
    shape = request.text("shape", most=8) if values["nominal_mm"] is not None else ""
    measured = Measured(**values, shape=shape, dross=request.text("dross", most=20), passed=passed)
    row, asked = check_record(
        run=request.require_run(),
        measured=measured,
        by=request.person,
        at=request.at,
        undo_record=request.undo_record,
    )
    return {
        "check": row.pk,
        "u_mm": row.u_mm,
        "u_range": row.u_range,
        "passed": row.passed,
        "asked": asked,
        "correction_mm": row.correction_mm,
        "countersign": request.person.needs_countersign,
        "told": _told(row, asked, request.person),
    }


def countersign(request: ActionRequest) -> dict[str, Any]:
    number = request.number("check")
    row = Check.objects.select_related("by", "run__table").filter(pk=int(number or 0)).first()
    if row is None:
        raise FloorError(_("There is no such check."))
    request.belongs(_("That check"), row.run.table)
    if not request.pin_given:
        raise FloorError(
            _("A second signature is given with badge and PIN."),
            _("Sign on the page of the check."),
        )
    check_countersign(check=row, by=request.person, at=request.at, undo_record=request.undo_record)
    return {"check": row.pk, "run": str(row.run_id), "by": request.person.shown_name}


def _told(row: Check, asked: int | None, by: User) -> list[str]:
    """What the check came to, for the person who measured."""
    inch = by.units == Units.INCH
    told = [verdict_words(row, asked, inch=inch)]
    if row.u_mm is not None:
        told.append(
            _("It is range {u_range}.").format(u_range=row.u_range)
            if row.u_range
            else _("It is outside range 5.")
        )
    if row.correction_mm is not None:
        told.append(correction_words(row.correction_mm, inch=inch))
    if said := size_verdict(row, by):
        told.append(said)
    return told
