"""What is read off the air, once a shift or as often as somebody looks."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.translation import gettext as _

from planning.calc.numbers import filled
from shopfloor.audit.undo_record import UndoRecord
from shopfloor.errors import FloorError
from shopfloor.models import AirReading, Table, User
from shopfloor.site.calendar import shift_at
from shopfloor.site.queries import shift_date_of, shift_patterns, shop_zone

MOST_KPA = 2500.0  # above what shop air is made at; our assumption, to catch a slip


@transaction.atomic
def air_read(
    *,
    table: Table,
    by: User,
    at: datetime,
    flowing_kpa: float | None = None,
    drained: bool | None = None,
    undo_record: UndoRecord | None = None,
) -> AirReading:
    """Keeps a reading with the shift it falls in. `flowing_kpa` is over the atmosphere's, read
    while the air flows: a static one says nothing of what the torch gets."""
    if flowing_kpa is None and drained is None:
        raise FloorError(
            _("Nothing was read."), _("Give the pressure, or say that water was drained.")
        )
    if flowing_kpa is not None and not 0 <= flowing_kpa <= MOST_KPA:
        raise FloorError(
            filled(_("{flowing_kpa:g} kPa of air?"), flowing_kpa=flowing_kpa),
            filled(_("0 to {most_kpa:g} kPa, read while it flows."), most_kpa=MOST_KPA),
        )
    found = shift_at(at, shift_patterns(), ZoneInfo(shop_zone()))
    return (undo_record or UndoRecord()).create(
        AirReading(
            table=table,
            at=at,
            by=by,
            shift_date=shift_date_of(at),
            shift=found.name if found else "",
            flowing_kpa=flowing_kpa,
            drained=drained,
        )
    )
