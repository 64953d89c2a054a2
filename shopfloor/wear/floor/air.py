"""The air at a table, as somebody read it."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.call import ActionRequest
from shopfloor.errors import FloorError
from shopfloor.wear.air import air_read


def air(call: ActionRequest) -> dict[str, Any]:
    drained = call.payload.get("drained")
    if drained is not None and not isinstance(drained, bool):
        raise FloorError(_("Was the water drained: yes or no?"))
    row = air_read(
        table=call.table(),
        by=call.person,
        at=call.at,
        flowing_kpa=call.number("flowing_kpa"),
        drained=drained,
        memo=call.memo,
    )
    return {"air": row.pk, "shift": row.shift, "shift_date": row.shift_date.isoformat()}
