"""What is said of the end of each table's shift: kept as it was said, scored when it has come."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np

from planning.calc.ahead.judged import (
    DRAWN,
    Came,
    Void,
    inside,
    list_hash,
    overdue,
    scored,
    summary,
    truth,
)
from planning.calc.ahead.scores import LATEST, scale
from planning.inputs.arcs import last_arcs
from planning.inputs.shifts import ShiftBook
from planning.reports.queue import queue_plans
from planning.reports.shapes import TableToday
from planning.reports.today import tables_at
from planning.reports.today_ahead import Ends, Listed
from shopfloor.models import (
    QueueItem,
    Run,
    RunState,
    Statement,
    StatementKind,
    Table,
    TableTime,
)
from shopfloor.runs.arcs import from_us, to_us

# After a shift's start: 07:00 and noon of one that begins at six.
SLOTS: Final = {"first": timedelta(hours=1), "second": timedelta(hours=6)}
SHOWN: Final = "first"  # one instant a table-shift is counted; both say how far to widen
LATE: Final = timedelta(minutes=30)  # no statement is made later than that
WAITED: Final = timedelta(days=3)
LATER: Final = "later"  # in `rests_on`: the outcome is only what it ended after
END: Final = StatementKind.END
BESIDE: Final = 10 * LATEST  # statements read for a table's score at the most


def statements_sweep(*, now: datetime) -> int:
    """Makes the statements that are due and scores those whose truth is in; returns how many of
    both. Harmless to repeat."""
    return statements_make(now=now) + statements_score(now=now)


def statements_make(*, now: datetime) -> int:
    """One of each table at each of `SLOTS` of its shift, where Today has an end to show."""
    shifts = ShiftBook(now, now)
    shift = shifts.at(to_us(now))
    if shift is None:
        return 0
    slot = next(
        (name for name, after in SLOTS.items() if timedelta(0) <= now - shift.start - after < LATE),
        None,
    )
    if slot is None:
        return 0
    subjects = {
        table.pk: f"{table.code} {shift.date:%Y-%m-%d} {shift.name}"
        for table in Table.objects.filter(active=True)
    }
    said = Statement.objects.filter(kind=END, slot=slot, subject__in=subjects.values())
    there = set(said.values_list("table", flat=True))
    tables = list(Table.objects.filter(pk__in=set(subjects) - there))
    if not tables:
        return 0
    waiting = queue_plans(tables=[table.pk for table in tables], jobs=False)
    made = [
        _statement(row, ends, subjects[row.table_id], slot, now)
        for each, row in tables_at(tables, now, shifts, waiting)
        if each.hearing.listens and row.outlook is not None
        and (ends := row.outlook.ends) is not None
        and not ends.beyond(ends.high)
    ]  # fmt: skip
    Statement.objects.bulk_create(made, ignore_conflicts=True)
    return len(made)


def _statement(row: TableToday, ends: Ends, subject: str, slot: str, now: datetime) -> Statement:
    listed = [_named(one) for one in ends.listed[: ends.last + 1]]
    levels = np.arange(1, DRAWN + 1) / (DRAWN + 1)
    return Statement(
        kind=END,
        subject=subject,
        slot=slot,
        table_id=row.table_id,
        made_at=now,
        due_at=from_us(round(ends.high * 1e6)) + WAITED,
        model=ends.stored.model,
        seed=ends.stored.seed,
        cut_off=ends.stored.cut_off,
        list_hash=list_hash(listed),
        rests_on={
            "list": listed,
            "nests": [one.nest for one in ends.listed[: ends.last + 1]],
            "runs": ends.stored.runs,
            "spent_s": {str(kind): round(value) for kind, value in ends.spent.items()},
            "away_s": round(ends.away_s),
            "drawn": [round(float(one), 1) for one in np.quantile(ends.raw, levels)],
        },
        scale=ends.stored.scale,
        quantiles=[round(one, 1) for one in ends.quantiles],
        chance=None,
    )


def _named(one: Listed) -> dict[str, Any]:
    return {"run": one.run_id} if one.run_id else {"item": one.item_id}


def statements_score(*, now: datetime) -> int:
    """Holds the statements that wait for it against what came; returns how many were settled."""
    rows = Statement.objects.filter(kind=END, scored_at=None, voided="").exclude(table=None)
    waiting: dict[int, list[Statement]] = defaultdict(list)
    for row in rows.order_by("made_at"):
        waiting[row.table_id or 0].append(row)
    settled = 0
    for table, own in waiting.items():
        came = _came(table, own, now)
        done = [row for row in own if _settled(row, came, now)]
        fields = ["outcome", "rests_on", "raw_pit", "pit", "crps", "scored_at", "voided"]
        Statement.objects.bulk_update(done, fields)
        if done:
            score_write(table)
        settled += len(done)
    return settled


def _settled(row: Statement, came: Sequence[tuple[datetime, Came]], now: datetime) -> bool:
    listed = row.rests_on["list"]
    since = [one for opened, one in came if opened > row.made_at or one.run == listed[0].get("run")]
    found = truth(listed, since)
    if found is None and row.due_at is not None and now > row.due_at:
        high = (row.due_at - WAITED).timestamp()
        found = overdue(listed, since, _still(row.table_id, listed), high)
    if found is None:
        return False
    if isinstance(found, Void):
        row.voided = str(found)
        row.rests_on.pop("drawn")
        return True
    if later := math.isinf(found):
        found = (row.due_at or now).timestamp()
        row.rests_on[LATER] = True
    score = scored(row.rests_on["drawn"], row.quantiles or [], row.scale, found, later=later)
    row.outcome, row.scored_at = found, now
    row.raw_pit, row.pit, row.crps = score.raw_pit, score.pit, score.crps
    row.rests_on.pop("drawn")  # most of the row, and needed no more
    return True


def _still(table: int | None, listed: Sequence[dict[str, Any]]) -> set[int]:
    items = [one["item"] for one in listed if "item" in one]
    on_list = QueueItem.objects.filter(pk__in=items, table=table, state__in=("waiting", "running"))
    return set(on_list.values_list("pk", flat=True))


def _came(
    table: int, statements: Sequence[Statement], now: datetime
) -> list[tuple[datetime, Came]]:
    """The table's runs since the first of these statements, and those that were on it then."""
    known = [row.rests_on["list"][0].get("run") for row in statements]
    own = Run.objects.filter(table=table).exclude(state=RunState.VOIDED)
    runs = own.filter(opened_at__gt=statements[0].made_at) | own.filter(
        pk__in=[one for one in known if one]
    )
    rows = list(
        runs.order_by("opened_at", "pk").values_list("pk", "opened_at", "queue_item", "state")
    )
    since = statements[0].made_at - timedelta(days=1)
    last = last_arcs([row[0] for row in rows], (to_us(since), to_us(now)))
    return [
        (opened, Came(str(pk), item, state == RunState.FINISHED, last.get(pk)))
        for pk, opened, item, state in rows
    ]


def score_write(table: int) -> None:
    """Keeps beside a table's fit how its last statements held, and how far to widen its next."""
    rows = Statement.objects.filter(kind=END, table=table, replayed=False)
    rows = rows.exclude(scored_at=None, voided="")
    last = list(rows.order_by("-made_at", "-pk")[:BESIDE])[::-1]
    counted = [row for row in last if row.scored_at is not None]
    shown = [row for row in counted if row.slot == SHOWN][-LATEST:]
    first = shown[0].made_at if shown else None
    voided = sum(
        1
        for row in last
        if row.voided and row.slot == SHOWN and (first is None or row.made_at >= first)
    )
    held = [inside(row.quantiles or [], row.outcome) for row in shown if row.outcome is not None]
    told = summary(held, voided, sum(LATER in row.rests_on for row in shown))
    TableTime.objects.filter(table=table).update(
        scale=scale([row.raw_pit for row in counted if row.raw_pit is not None]),
        scored=told | _replayed(table),
    )


def _replayed(table: int) -> dict[str, Any]:
    """How the last ranges held that were made later for days on which none were shown."""
    rows = Statement.objects.filter(kind=END, table=table, replayed=True, slot=SHOWN)
    last = rows.order_by("-made_at").values_list("quantiles", "outcome")[:LATEST]
    held = [inside(said or [], came) for said, came in last if came is not None]
    return {"replayed": summary(held, 0)} if held else {}
