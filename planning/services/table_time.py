"""How long each table's work takes, fitted in the background and kept. Work kind "table_time", key:
the table's id."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any

from django.db.models import F, Q
from django.utils import timezone

from planning.calc.ahead.book import DAY_STEP, TableBook, records_at
from planning.calc.ahead.drift import recent
from planning.calc.ahead.fit import fit
from planning.calc.ahead.keep import MODEL, kept
from planning.calc.ahead.records import Records
from planning.inputs.stored_time import typical_of
from planning.inputs.table_time import table_books
from shopfloor.background.request import request_work
from shopfloor.models import Run, Table, TableTime

KIND = "table_time"
LEARNT = 600  # runs of a table that are read
LONGEST = timedelta(days=200)
CLOCK = timedelta(days=3)  # ahead of now, so that the shift under way has an end
APART = timedelta(minutes=10)  # so many closings make one fit
ANEW = timedelta(hours=20)


def table_time_write(*, key: str, payload: dict[str, Any]) -> None:
    """Fits one table's time and keeps it. Harmless to repeat: what changes meanwhile leaves
    `wanted` ahead of `version`."""
    table = Table.objects.filter(pk=key).first()
    if table is None:
        return
    now = timezone.now()
    row, _ = TableTime.objects.get_or_create(table=table)
    book = table_books([table], _since(table, now), now, now + CLOCK)[table.pk]
    seed = int(now.timestamp())
    records, end_of = records_at([book], now.timestamp(), typical_of(table)), _ends_of(book)
    fitted = fit(records, seed)
    arrays, names = kept(fitted, end_of)
    TableTime.objects.filter(pk=row.pk).update(
        version=row.wanted, model=MODEL, seed=seed, cut_off=now, runs=fitted.cuts, names=names,
        arrays=arrays, drift=list(_drift(records, end_of)), computed_at=timezone.now(),
    )  # fmt: skip


def _drift(records: Records, end_of: Callable[[int], int | None]) -> Iterator[dict[str, Any]]:
    """What has changed of late, by the ends of the shifts it began and was noticed in (epoch s)."""
    for one in recent(records):
        since, noticed = end_of(one.since), end_of(one.noticed)
        if since is not None and noticed is not None:
            yield {
                "figure": str(one.figure), "since": since, "noticed": noticed,
                "before": one.before, "now": one.now,
                "shifts_before": one.shifts_before, "shifts": one.shifts,
            }  # fmt: skip


def _since(table: Table, now: datetime) -> datetime:
    """From when on its runs are read."""
    opened = Run.objects.filter(table=table, opened_at__gt=now - LONGEST).order_by("-opened_at")
    times = list(opened.values_list("opened_at", flat=True)[:LEARNT])
    return times[-1] - timedelta(days=1) if times else now - timedelta(days=1)


def _ends_of(book: TableBook) -> Callable[[int], int | None]:
    """By the number of a table-day, the moment its shift ends."""
    ends = book.clock.ends[book.clock.ends_shift]

    def end(day: int) -> int | None:
        place = day // DAY_STEP - book.first_day
        return int(ends[place]) if 0 <= place < len(ends) else None

    return end


def tables_changed(tables: Iterable[int]) -> None:
    """Runs of these tables are not as they were fitted. The caller's transaction."""
    TableTime.objects.filter(table__in=tables).update(wanted=F("wanted") + 1)


def tables_freshen(*, now: datetime) -> int:
    """Asks for the fits that are missing or old, and of those behind their runs not more often
    than `APART`; returns how many. Harmless to repeat."""
    current = TableTime.objects.filter(model=MODEL, computed_at__gt=now - ANEW)
    fresh = current.filter(Q(version=F("wanted")) | Q(computed_at__gt=now - APART))
    stale = Table.objects.filter(active=True).exclude(pk__in=fresh.values("table"))
    keys = [str(pk) for pk in stale.values_list("pk", flat=True)]
    for key in keys:
        request_work(kind=KIND, key=key)
    return len(keys)
