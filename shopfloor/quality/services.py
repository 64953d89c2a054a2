"""Measured cuts, and labour after the cut."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from planning.calc.quality import (
    QualityError,
    kerf_correction_mm,
    u_from_angle_mm,
    u_from_sizes_mm,
    u_range,
)
from planning.calc.said import to_reader, told
from shopfloor.audit.undo_record import UndoRecord
from shopfloor.background.request import request_work
from shopfloor.errors import FloorError
from shopfloor.models import Check, Run, User
from shopfloor.people.rights import FLOOR, may
from shopfloor.quality.queries import u_asked

SHAPES = ("outside", "hole")


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured of one cut; mm, degrees, micrometres. One way to u, or none."""

    u_mm: float | None = None
    angle_deg: float | None = None
    top_mm: float | None = None
    bottom_mm: float | None = None
    thickness_mm: float | None = None  # blank: the nest's
    nominal_mm: float | None = None  # the size asked, for the kerf's correction
    shape: str = ""  # what the sizes are of: outside, hole
    rz5_um: float | None = None
    kerf_mm: float | None = None
    dross: str = ""
    passed: bool | None = None  # go or no-go, as a person judged it


@transaction.atomic
def check_record(
    *, run: Run, measured: Measured, by: User, at: datetime, undo_record: UndoRecord | None = None
) -> tuple[Check, int | None]:
    """Writes a check down and returns it with the u range asked of this sheet (None: nothing is
    asked). `passed` is False where the gauge or u says so, True where one of them does, else
    unknown: a gauge that goes says nothing of u."""
    thickness_mm = measured.thickness_mm or run.revision.nest.thickness_mm
    correction_mm = _correction_mm(measured)
    try:
        u_mm = _u_mm(measured, thickness_mm)
        reached = u_range(u_mm, thickness_mm) if u_mm is not None else None
    except QualityError as problem:
        raise FloorError(
            to_reader(told(problem), inch=False).capitalize() + ".", _("Measure again.")
        ) from problem
    asked = u_asked(run)
    passed = measured.passed
    if passed is not False and u_mm is not None and asked is not None:
        passed = reached is not None and reached <= asked
    figures = (u_mm, measured.rz5_um, measured.kerf_mm)
    if all(figure is None for figure in figures) and passed is None and not measured.dross:
        raise FloorError(_("Nothing was measured."), _("Give one value, or say good or not good."))
    check = (undo_record or UndoRecord()).create(
        Check(
            run=run,
            at=at,
            by=by,
            measured=_kept(measured),
            u_mm=u_mm,
            rz5_um=measured.rz5_um,
            kerf_mm=measured.kerf_mm,
            dross=measured.dross[:20],
            u_range=reached,
            passed=passed,
            shape=measured.shape,
            correction_mm=correction_mm,
        )
    )
    request_work(kind="run", key=str(run.pk))
    return check, asked


@transaction.atomic
def check_countersign(
    *, check: Check, by: User, at: datetime, undo_record: UndoRecord | None = None
) -> None:
    """A second person's word that they measured it too. Not the one who checked, and nobody whose
    own first pieces want a second signature."""
    if by.pk == check.by_id:
        raise FloorError(_("You checked it yourself."), _("Somebody else has to sign."))
    if by.needs_countersign:
        raise FloorError(
            _("{shown_name}’s own first pieces take a second signature.").format(
                shown_name=by.shown_name
            ),
            _("Ask somebody else."),
        )
    if not may(by, FLOOR):
        raise FloorError(
            _("{shown_name} does not work at the tables.").format(shown_name=by.shown_name)
        )
    if check.countersigned_by_id is not None:
        raise FloorError(_("It is signed already."))
    (undo_record or UndoRecord()).change(check, countersigned_by=by, countersigned_at=at)


def _u_mm(measured: Measured, thickness_mm: float) -> float | None:
    sizes = (measured.top_mm, measured.bottom_mm)
    ways = [
        measured.u_mm is not None,
        measured.angle_deg is not None,
        any(size is not None for size in sizes),
    ]
    if sum(ways) > 1:
        raise FloorError(_("u was given in more than one way."), _("Give one of the three."))
    if measured.u_mm is not None:
        return measured.u_mm
    if measured.angle_deg is not None:
        return u_from_angle_mm(measured.angle_deg, thickness_mm)
    top, bottom = sizes
    if top is None and bottom is None:
        return None
    if top is None or bottom is None:
        raise FloorError(_("Both sizes are needed, top and bottom."))
    return u_from_sizes_mm(top, bottom, thickness_mm)


def _correction_mm(measured: Measured) -> float | None:
    """The kerf's correction a side from the mean of top and bottom and the size asked."""
    if measured.nominal_mm is None:
        return None
    if measured.shape not in SHAPES:
        raise FloorError(_("Is it an outside size or a hole?"), _("The sign depends on it."))
    sizes = [size for size in (measured.top_mm, measured.bottom_mm) if size is not None]
    if len(sizes) != 2 or measured.nominal_mm <= 0:
        raise FloorError(_("The kerf needs the size asked, and the size at top and bottom."))
    mean = sum(sizes) / 2
    return kerf_correction_mm(measured.nominal_mm, mean, hole=measured.shape == "hole")


def _kept(measured: Measured) -> dict[str, Any]:
    values = {name: getattr(measured, name) for name in Measured.__dataclass_fields__}
    return {name: value for name, value in values.items() if value not in (None, "")}
