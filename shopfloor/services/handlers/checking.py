"""A measured cut."""

from __future__ import annotations

from typing import Any

from shopfloor.errors import FloorError
from shopfloor.services.checks import Measured, check_record
from shopfloor.services.handlers.call import Call


def check(call: Call) -> dict[str, Any]:
    passed = call.payload.get("passed")
    if passed is not None and not isinstance(passed, bool):
        raise FloorError("Good or not good?")
    names = ("u_mm", "angle_deg", "top_mm", "bottom_mm", "thickness_mm", "rz5_um", "kerf_mm")
    values = {name: call.number(name) for name in names}
    measured = Measured(**values, dross=call.text("dross", most=20), passed=passed)
    row, asked = check_record(
        run=call.the_run(), measured=measured, by=call.person, at=call.at, memo=call.memo
    )
    return {
        "check": row.pk,
        "u_mm": row.u_mm,
        "u_range": row.u_range,
        "passed": row.passed,
        "asked": asked,
    }
