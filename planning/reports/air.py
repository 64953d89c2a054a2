"""What was read off the air, shift by shift, beside the wear parts that failed then."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

import pandas as pd

from planning.inputs.shifts import ShiftBook
from planning.reports.frames import frame
from shopfloor.models import AirReading, Fitting, PieceState
from shopfloor.runs.arcs import to_us
from shopfloor.wear.endings import ending_words

DAYS = 28
FEW = 5  # days that mostly have the newest shifts
Key = tuple[date, str, str]


def air_by_shift(*, now: datetime, days: int = DAYS, newest: int | None = None) -> pd.DataFrame:
    """One row for each table and shift with a reading or a piece that failed, the newest first:
    shift_date, shift, table, low_kpa, high_kpa (None: not read), readings, drained (None: not
    said), failures (incidents: pieces that failed together count once; crashes are none), pieces
    (their labels with the reason). Only the `newest` so many, for which no more days are read than
    they take. Two queries, and two for the shifts, each time."""
    lately = [] if newest is None else [n for n in (FEW, 3 * FEW) if n < days]
    for some in lately:
        found = _by_shift(now, now - timedelta(days=some))
        whole = [key for key in found if key[0] > (now - timedelta(days=some - 2)).date()]
        if len(whole) >= (newest or 0):
            break
    else:
        found = _by_shift(now, now - timedelta(days=days))
    keys = list(found)[:newest]
    return frame(
        "shift_date shift table low_kpa high_kpa readings drained failures pieces",
        [(*key, *found[key]) for key in keys],
    )


def _by_shift(now: datetime, since: datetime) -> dict[Key, tuple[Any, ...]]:
    """The newest first; the oldest day's shifts may have begun before."""
    read: dict[Key, list[Any]] = defaultdict(list)
    day = since.date() - timedelta(days=2)  # of its index: a shift has its start's date
    rows = AirReading.objects.filter(shift_date__gte=day, at__gte=since, at__lte=now).order_by("at")
    fields = "shift_date", "shift", "table__name", "flowing_kpa", "drained"
    for row in rows.values_list(*fields, named=True):
        read[row.shift_date, row.shift, row.table__name].append(row)
    failed: dict[Key, list[Any]] = defaultdict(list)
    shifts = ShiftBook(since, now)
    for out in _failures(since, now):
        at_us = to_us(out.removed_at)
        span = shifts.at(at_us)
        name = span.name if span else ""
        failed[shifts.date_of(at_us), name, out.torch__table__name].append(out)
    began = {(span.date, span.name): span.start for span in shifts.spans}
    keys = sorted(read.keys() | failed.keys(), key=lambda key: key[2])
    keys.sort(key=lambda key: (key[0], began.get(key[:2], now)), reverse=True)
    return {key: (*_air(read[key]), *_failed(failed[key])) for key in keys}


def _failures(since: datetime, now: datetime) -> Iterable[Any]:
    rows = Fitting.objects.filter(
        removal_state=PieceState.FAILED, removed_at__gte=since, removed_at__lte=now
    )
    return rows.order_by("removed_at", "pk").values_list(
        "pk", "incident", "removed_at", "removal_cause", "removal_reason", "piece__label",
        "torch__table__name", named=True,
    )  # fmt: skip


def _air(rows: list[Any]) -> tuple[Any, ...]:
    pressures = [row.flowing_kpa for row in rows if row.flowing_kpa is not None]
    said = [row.drained for row in rows if row.drained is not None]
    return (
        min(pressures, default=None),
        max(pressures, default=None),
        len(rows),
        any(said) if said else None,
    )


def _failed(rows: list[Any]) -> tuple[int, str]:
    incidents = {row.incident or row.pk for row in rows}
    whys = [ending_words(row.removal_cause, row.removal_reason, collateral=False) for row in rows]
    told = [
        f"{row.piece__label} ({why})" if why else row.piece__label
        for row, why in zip(rows, whys, strict=True)
    ]
    return len(incidents), ", ".join(told)
