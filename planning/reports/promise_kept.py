"""What the page of promises shows, kept by the background worker so that no page waits for a
thousand draws of every list. It is read only as long as no record has changed since it was drawn;
time that passed is told. Where it is not there the page draws it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.db.models import F

from planning.calc.ahead.keep import MODEL
from planning.calc.said import restored, stored
from planning.inputs.kept import PROMISES_NOW
from planning.reports.promise import Board, DayLoad, JobPromise, TableLoad, board, loads
from shopfloor.models import Change, Summary, TableTime
from shopfloor.runs.arcs import to_us

KIND: Final = PROMISES_NOW
FORM: Final = 1  # raised where the same records would be drawn, or kept, otherwise
KEPT_FOR: Final = timedelta(minutes=5)
LOOKED_BACK: Final = 1000  # changes: one numbered early may be committed behind later ones
MOMENTS: Final = ("due_at", "early", "middle", "late")


@dataclass(frozen=True, slots=True)
class Shown:
    """What is drawn at a moment. `learnt`: of each table that has runs of its own, how many."""

    at: datetime
    jobs: tuple[JobPromise, ...]
    loads: tuple[TableLoad, ...]
    learnt: tuple[tuple[str, int], ...]


def shown(now: datetime) -> Shown:
    """As it was kept where that still holds, else drawn now."""
    return kept(now) or shown_of(board(now))


def shown_of(drawn: Board) -> Shown:
    work = drawn.work
    learnt = ((work.table_rows[pk].name, one.runs) for pk, one in work.stored.items() if one.runs)
    return Shown(work.now, tuple(drawn.jobs), tuple(loads(drawn)), tuple(learnt))


def kept(now: datetime) -> Shown | None:
    """None where there is none, it is older than `KEPT_FOR` or of a clock that was ahead, or
    anything it was drawn from has changed."""
    rows = Summary.objects.filter(kind=KIND, key="", version=F("wanted"))
    body = rows.exclude(body=None).values_list("body", flat=True).first()
    if body is None or body["drawn_from"] != drawn_from():
        return None
    at = datetime.fromisoformat(body["at"])
    if not timedelta(0) <= now - at <= KEPT_FOR:
        return None
    return Shown(
        at,
        tuple(_job(row) for row in body["jobs"]),
        tuple(_load(row) for row in body["loads"]),
        tuple((name, runs) for name, runs in body["learnt"]),
    )


def drawn_from() -> dict[str, Any]:
    """Tells two states of the records apart, but for plans of nests, whose publishing counts
    `wanted` up: every other record leaves a row on the trail, and fits have columns of their own.
    The newest row alone would miss one that was numbered before it and committed after."""
    newest = Change.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    fits = TableTime.objects.order_by("table").values_list("table", "model", "computed_at", "scale")
    return {
        "form": [FORM, MODEL],
        "changes": [newest, Change.objects.filter(pk__gt=newest - LOOKED_BACK).count()],
        "fits": [[table, model, at and to_us(at), scale] for table, model, at, scale in fits],
    }


def to_body(found: Shown, of: Mapping[str, Any]) -> dict[str, Any]:
    """As JSON values; `of` is what was drawn from, asked for before the drawing began."""
    return {
        "drawn_from": of,
        "at": found.at.isoformat(),
        "jobs": [_job_row(job) for job in found.jobs],
        "loads": [_load_row(load) for load in found.loads],
        "learnt": [list(one) for one in found.learnt],
    }


def _row(one: Any) -> dict[str, Any]:
    return {field.name: getattr(one, field.name) for field in fields(one)}


def _job_row(job: JobPromise) -> dict[str, Any]:
    row = _row(job)
    row |= {name: at and at.isoformat() for name in MOMENTS for at in [row[name]]}
    return row | {"days": [at and at.isoformat() for at in job.days], "why": stored(job.why)}


def _job(row: dict[str, Any]) -> JobPromise:
    moments = {name: _moment(row[name]) for name in MOMENTS}
    rest = {"days": tuple(map(_moment, row["days"])), "tables": tuple(row["tables"])}
    return JobPromise(**row | moments | rest | {"why": restored(row["why"])})


def _load_row(load: TableLoad) -> dict[str, Any]:
    days = [_row(day) | {"day": str(day.day), "note": stored(day.note)} for day in load.days]
    return _row(load) | {"days": days}


def _load(row: dict[str, Any]) -> TableLoad:
    days = [
        DayLoad(**day | {"day": date.fromisoformat(day["day"]), "note": restored(day["note"])})
        for day in row["days"]
    ]
    return TableLoad(**row | {"days": tuple(days)})


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
