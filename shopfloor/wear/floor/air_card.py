"""The air's keys: a pressure and whether water was drained, in one touch."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from planning.calc.numbers import written
from planning.calc.units import KPA_PER_BAR, KPA_PER_PSI
from shopfloor.models import AirReading, Table
from shopfloor.site.queries import shift_date_of
from shopfloor.terminal.words import day_clock

BARS = (4.5, 5.0, 5.5, 6.0, 6.5, 7.0)
PSIS = (65, 75, 85, 95, 105, 115)


@dataclass(frozen=True, slots=True)
class AirKey:
    words: str
    drained: str  # payloads
    not_drained: str


@dataclass(frozen=True, slots=True)
class Air:
    words: str
    unit: str
    scale: float  # kPa a unit
    step: str
    start: str
    keys: list[AirKey]


def air_of(table: Table, now: datetime, *, inch: bool) -> Air:
    scale, unit = (KPA_PER_PSI, "psi") if inch else (KPA_PER_BAR, "bar")
    keys = [
        AirKey(
            f"{written(figure, 'g')} {unit}",
            _payload(figure * scale, True),
            _payload(figure * scale, False),
        )
        for figure in (PSIS if inch else BARS)
    ]
    step, start = ("5", "90") if inch else ("0.1", "6.0")
    return Air(last_words(table, now, scale, unit), unit, scale, step, start, keys)


def last_words(table: Table, now: datetime, scale: float, unit: str) -> str:
    """What was read last on this table in this shift; else that nobody has."""
    row = AirReading.objects.filter(table=table, shift_date=shift_date_of(now)).first()
    if row is None:
        return _("not read today")
    read = "" if row.flowing_kpa is None else f"{written(row.flowing_kpa / scale, '.3g')} {unit}, "
    water = {True: "drained", False: _("not drained"), None: ""}[row.drained]
    return f"{read}{water}".strip(", ") + f", {day_clock(row.at, now)}"


def _payload(kpa: float, drained: bool) -> str:
    return json.dumps({"flowing_kpa": round(kpa, 1), "drained": drained})
