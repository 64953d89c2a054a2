"""The air at a table, as somebody read it."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.wear.air import air_read


def air(request: ActionRequest) -> dict[str, Any]:
    drained = request.payload.get("drained")
    if drained is not None and not isinstance(drained, bool):
        raise FloorError(_("Was the water drained: yes or no?"))
    row = air_read(
        table=request.table(),
        by=request.person,
        at=request.at,
        flowing_kpa=request.number("flowing_kpa"),
        drained=drained,
        undo_record=request.undo_record,
    )
    return {"air": row.pk, "shift": row.shift, "shift_date": row.shift_date.isoformat()}
