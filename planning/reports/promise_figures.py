"""A promise opened: the sheets it waits for, each with when it will be done; a day's load opened:
the sheets that take its hours. Keys end with the moment of the page in microseconds; lists that
changed since give other sheets."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any, Final

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.ahead.promise import Sheet, TableAhead, load_s, promised
from planning.calc.dates import WEEKDAY, dated
from planning.inputs.open_work import revision_of
from planning.inputs.shifts import ShiftBook
from planning.reports.figure import Figure, Part, Ref, shortened
from planning.reports.promise import HOUR_S, Board, board, windows
from shopfloor.models import NestPlan
from shopfloor.runs.arcs import from_us
from shopfloor.wording.clock import when
from shopfloor.wording.quantity import Quantity, Remark, Unit

LAST_US: Final = 4_102_444_800_000_000  # 2100
PROMISE = N_(
    "The share of 1,000 draws in which the last of the job's sheets is done by then. Each takes "
    "all lists through their tables' calendars with times as the tables' own runs had them."
)
LOAD = N_(
    "The mean of the draws of the staffed time that each sheet takes of the day: loading, cutting, "
    "stoppages, unloading and changes of the set before it."
)


def _at(key: str) -> tuple[str, datetime]:
    what, _sep, at = key.rpartition("@")
    if not at.isdecimal() or int(at) > LAST_US:
        raise LookupError(_("there is no moment {at!r}").format(at=at))
    return what, from_us(int(at))


def promise(key: str) -> Figure:
    what, now = _at(key)
    shown = board(now)
    row = next((one for one in shown.jobs if str(one.pk) == what), None)
    if row is None:
        raise LookupError(_("there is no open job {what!r}").format(what=what))
    parts = [
        _sheet_part(shown, one, place, sheet)
        for one in shown.work.tables
        for place, sheet in enumerate(one.sheets)
        if row.pk in sheet.jobs
    ]
    due = _("{job}, due {due}").format(job=row.number, due=when(row.due_at))
    return Figure(
        Ref("promise", key), due, Quantity(row.percent, Unit.PERCENT, "planned"), _(PROMISE),
        tuple(shortened(parts)), now, Ref("promises", ""),
    )  # fmt: skip


def load(key: str) -> Figure:
    what, now = _at(key)
    code, _sep, day_text = what.rpartition(":")
    shown = board(now)
    one = next((t for t in shown.work.tables if _row(shown, t).code == code), None)
    try:
        day = date.fromisoformat(day_text)
    except ValueError:
        day = date.min
    book = ShiftBook(now, now + timedelta(days=90))
    if one is None or not now.date() - timedelta(2) <= day <= now.date() + timedelta(days=90):
        raise LookupError(_("there is no table {code!r} or day").format(code=code))
    spans = windows(book, [day])
    found = shown.found.tables[one.key]
    hours = load_s(found, one.clock, now.timestamp(), spans)[:, 0] / HOUR_S
    parts = [
        _part(shown, one, sheet, Quantity(float(hours[place]), Unit.HOURS, "planned"))
        for place, sheet in enumerate(one.sheets)
        if hours[place] >= 0.005
    ]
    label = _("{table}, {day}").format(table=_row(shown, one).name, day=dated(day, WEEKDAY))
    whole = Quantity(float(np.sum(hours)), Unit.HOURS, "planned")
    return Figure(
        Ref("load", key), label, whole, _(LOAD), tuple(shortened(parts)), now, Ref("promises", "")
    )


def _row(shown: Board, one: TableAhead) -> Any:
    return shown.work.table_rows[one.key]


def _sheet_part(shown: Board, one: TableAhead, place: int, sheet: Sheet) -> Part:
    ends = shown.found.tables[one.key].wall[:, place]
    early, late = promised(ends, 0.1), promised(ends, 0.9)
    said = _("beyond the calendar")
    if np.isfinite(late):
        said = _("{early} to {late}").format(
            early=when(from_us(round(early * 1e6))), late=when(from_us(round(late * 1e6)))
        )
    return _part(shown, one, sheet, Quantity(said, Unit.TEXT, "planned"))


def _part(shown: Board, one: TableAhead, sheet: Sheet, value: Quantity) -> Part:
    nest = shown.work.nests[int(str(sheet.nest))].name
    kind = sheet.key[0]
    place = {"run": _("being cut"), "item": _("on the list"), "nest": _("on no list yet")}[kind]
    label = _("{nest} on {table}, {place}").format(
        nest=nest, table=_row(shown, one).name, place=place
    )
    plan_h = Quantity(sheet.routes[one.key].plan_s / HOUR_S, Unit.HOURS)
    opens = Ref("run", sheet.key[1]) if kind == "run" else _plan(one, sheet)
    return Part(label, value, opens, (Remark(_("{} by plan"), (plan_h,)),))


def _plan(one: TableAhead, sheet: Sheet) -> Ref | None:
    plan = NestPlan.objects.filter(
        revision=revision_of(sheet), table=one.key, wear_set=int(str(sheet.wear_set))
    ).values_list("pk", flat=True)
    found = plan.first()
    return None if found is None else Ref("plan", str(found))
