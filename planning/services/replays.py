"""Statements for a past in which none were made: of a shop that was loaded, or upgraded.
Each day is made once, the oldest first, from what was on record at its moments, and scored at
once. Work kind "replay", key "shop": it goes on where it stopped, some days at a time."""

from __future__ import annotations

import time as clock
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from typing import Any, Final

import numpy as np
from django.db import transaction
from django.db.models import Count, Min
from django.utils import timezone

from planning.calc.ahead.draws import Worlds, finishes
from planning.calc.ahead.fit import LATEST as LATEST_CUTS
from planning.calc.ahead.judged import DRAWN, list_hash, scored
from planning.calc.ahead.keep import MODEL
from planning.calc.ahead.past_list import list_at
from planning.calc.ahead.promise import LEVELS, Drawn, drawn, promised
from planning.calc.ahead.scores import LATEST, scale, widened
from planning.calc.ahead.scores import LEVELS as QUANTILES
from planning.inputs.past_work import PastWork, Stood
from planning.inputs.shifts import ShiftBook
from planning.services.promises import FROM_HOUR, done_at, judge
from planning.services.statements import SLOTS, WAITED, score_write
from planning.services.table_time import LONGEST
from shopfloor.background.request import request_work
from shopfloor.models import Job, Run, RunState, Statement, StatementKind, Summary, TableTime, Work
from shopfloor.runs.arcs import from_us
from shopfloor.site.calendar import wall_to_utc

KIND: Final = "replay"
DAYS: Final = timedelta(days=60)  # back from the first statement that was shown
FIRST: Final = timedelta(days=21)  # of the shop's runs, only learnt from
SETTLED: Final = timedelta(days=3)  # so long ago that what came is on record
FROM: Final = time(FROM_HOUR)
MOSTLY: Final = 0.8  # of a table’s runs are fitted where its past is in
BUDGET_S: Final = 20.0  # of processor time at a time
AHEAD_DAYS: Final = 10  # of each job, the chance that it is done by the end of each


def replays_wanted(*, now: datetime) -> int:
    """Asks for the days that are left; returns how many. Harmless to repeat."""
    row = Summary.objects.filter(kind=KIND).first() or _begun(now)
    if row is None or row.body is None:
        return 0
    left = (_day(row.body, "last") - _day(row.body, "next")).days + 1
    if left > 0:
        request_work(kind=KIND, key="shop")
    return max(left, 0)


def _begun(now: datetime) -> Summary | None:
    """Lays down once which days there are. None while the past is still coming in: a shop that was
    loaded has its runs first, and what was measured of them minutes later."""
    first = Run.objects.exclude(state=RunState.VOIDED).aggregate(at=Min("opened_at"))["at"]
    if first is None or not _is_in(now):
        return None
    zone = ShiftBook(now, now).zone
    shown = Statement.objects.filter(replayed=False).aggregate(at=Min("made_at"))["at"] or now
    last = min(shown - timedelta(days=1), now - SETTLED)
    start = max(first + FIRST, shown - DAYS)
    body = {"next": str(start.astimezone(zone).date()), "last": str(last.astimezone(zone).date())}
    row, _ = Summary.objects.get_or_create(kind=KIND, defaults={"body": body, "computed_at": now})
    return row


def _is_in(now: datetime) -> bool:
    """Most runs of the tables are fitted, and none waits for its figures."""
    if Work.objects.filter(state="waiting", kind__in=("run", "recount")).exists():
        return False
    finished = Run.objects.filter(state=RunState.FINISHED, opened_at__gt=now - LONGEST)
    many = dict(finished.order_by().values_list("table").annotate(Count("pk")))
    fitted = dict(TableTime.objects.exclude(computed_at=None).values_list("table", "runs"))
    return any(
        fitted.get(table, 0) >= MOSTLY * min(runs, LATEST_CUTS) for table, runs in many.items()
    )


def _day(body: Mapping[str, Any], name: str) -> date:
    return date.fromisoformat(body[name])


def replay_days(*, key: str, payload: dict[str, Any]) -> None:
    """Replays the next days until `BUDGET_S` of processor time is used. A day is counted as done
    before it is begun, so that one that fails is not tried for ever."""
    row = Summary.objects.filter(kind=KIND).first()
    if row is None or row.body is None or _day(row.body, "next") > _day(row.body, "last"):
        return
    now, until = timezone.now(), clock.process_time() + BUDGET_S
    book = ShiftBook(now, now)
    first = wall_to_utc(_day(row.body, "next"), FROM, book.zone)
    past = PastWork(first, now)
    ends = done_at(Job.objects.values_list("pk", flat=True))
    while clock.process_time() < until and (day := _taken()) is not None:
        replay_day(past, day, ends)
    for table in past.tables:
        score_write(table)


def _taken() -> date | None:
    """The next day, now counted as done; None where none is left."""
    with transaction.atomic():
        row = Summary.objects.select_for_update().get(kind=KIND)
        if row.body is None or _day(row.body, "next") > _day(row.body, "last"):
            return None
        day = _day(row.body, "next")
        row.body = {**row.body, "next": str(day + timedelta(days=1))}
        row.save(update_fields=["body"])
    return day


def replay_day(past: PastWork, day: date, ends: Mapping[int, datetime]) -> int:
    """Makes the statements of one day; returns how many."""
    book = ShiftBook(past.start, past.now)
    at = wall_to_utc(day, FROM, book.zone)
    scales = {table: _scale(table, at) for table in past.tables}
    rows = list(_promises(past, at, scales, day, ends))
    for shift in (one for one in book.spans if one.date == day):
        for slot, after in SLOTS.items():
            moment = shift.start + after
            for table in past.tables:
                code = past.tables[table].code
                if moment < shift.end and shift.at_table(code):
                    subject = f"{code} {day:%Y-%m-%d} {shift.name}"
                    found = _end(past, table, moment, shift.end, scales[table])
                    if found is not None:
                        found.subject, found.slot = subject, slot
                        rows.append(found)
    past.forget()
    Statement.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rows)


def _scale(table: int, at: datetime) -> float:
    """What the replays that were over by then left."""
    rows = Statement.objects.filter(kind=StatementKind.END, table=table, replayed=True)
    known = rows.filter(made_at__lt=at, outcome__lt=at.timestamp()).exclude(raw_pit=None)
    last = list(known.order_by("-made_at").values_list("raw_pit", flat=True)[:LATEST])
    return scale([one for one in last[::-1] if one is not None])


def _promises(
    past: PastWork,
    at: datetime,
    scales: Mapping[int, float],
    day: date,
    ends: Mapping[int, datetime],
) -> Iterator[Statement]:
    """Of each open job with a chance whose date was not moved since and whose truth is in. That
    must not hang on what came: done early counts no sooner than late."""
    stood = past.stood(at, scales)
    if not stood.dues:
        return
    found = drawn(stood.tables)
    dues = dict(Job.objects.filter(pk__in=list(stood.dues)).values_list("pk", "due_at"))
    closed = set(Job.objects.filter(state="closed").values_list("pk", flat=True))
    sure = past.now - SETTLED
    for job, due in stood.dues.items():
        done = ends.get(job)
        if dues.get(job) != due or due > sure or (done is None and job in closed):
            continue
        said = _promise(stood, found, job, due)
        said.slot = day.isoformat()
        said.rests_on["by_day"] = list(_by_day(found, job, at, done, sure))
        judge(said, done, past.now, sure)
        yield said


def _promise(stood: Stood, found: Drawn, job: int, due: datetime) -> Statement:
    sheets = [
        (one.key, sheet.key) for one in stood.tables for sheet in one.sheets if job in sheet.jobs
    ]
    days = [promised(found.jobs[job], level) for level in LEVELS]
    return Statement(
        kind=StatementKind.PROMISE,
        replayed=True,
        subject=str(job),
        made_at=stood.at,
        due_at=due,
        model=MODEL,
        seed=int(stood.at.timestamp()),
        cut_off=stood.at,
        list_hash=list_hash([{"sheets": [str(one) for one in sheets]}]),
        rests_on={
            "sheets": len(sheets),
            "tables": sorted({key for key, _sheet in sheets}),
            "days": [None if np.isinf(one) else one for one in days],
        },
        chance=found.chance(job, due.timestamp()),
    )


def _by_day(
    found: Drawn, job: int, at: datetime, done: datetime | None, sure: datetime
) -> Iterator[tuple[float, bool]]:
    """The chance of being done by the end of each of the next days, and whether it was."""
    for place in range(1, AHEAD_DAYS + 1):
        end = at + timedelta(days=place)
        if end <= sure:
            chance = found.chance(job, end.timestamp())
            yield round(chance, 4), done is not None and done <= end


def _end(
    past: PastWork, table: int, at: datetime, shift_end: datetime, k: float
) -> Statement | None:
    """The end of what the shift would most likely get done, of its list as it was cut."""
    runs, ahead, now = list_at(past.books[table], at.timestamp())
    if not ahead:
        return None
    fitted, seed = past.fit(table, at), int(at.timestamp())
    found = finishes(Worlds.of(fitted, now, seed), ahead, past.clocks(at)[table])
    likely = np.flatnonzero(found.chance_by(shift_end.timestamp()) >= 0.5)
    if not len(likely) or runs[last := int(likely[-1])].closed is None:
        return None
    wall = found.wall[:, last]
    raw = np.quantile(wall, np.arange(1, DRAWN + 1) / (DRAWN + 1))
    quantiles = np.quantile(widened(wall, k), QUANTILES)
    if not np.isfinite(quantiles).all() or not np.isfinite(raw).all():
        return None
    outcome = max(off for _on, off, _contour in runs[last].arcs)
    score = scored([float(one) for one in raw], [float(one) for one in quantiles], k, outcome)
    listed = [{"run": str(one.run)} for one in runs[: last + 1]]
    return Statement(
        kind=StatementKind.END,
        replayed=True,
        table_id=table,
        made_at=at,
        due_at=from_us(round(float(quantiles[-2]) * 1e6)) + WAITED,
        model=MODEL,
        seed=seed,
        cut_off=at,
        list_hash=list_hash(listed),
        rests_on={"list": listed, "runs": fitted.cuts},
        scale=k,
        quantiles=[round(float(one), 1) for one in quantiles],
        outcome=outcome,
        raw_pit=score.raw_pit,
        pit=score.pit,
        crps=score.crps,
        scored_at=past.now,
    )
