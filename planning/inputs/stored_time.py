"""The fitted time of each table's work, as it is kept: what every statement about the future is
drawn from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from planning.calc.ahead.clock import StaffedClock, week_of
from planning.calc.ahead.draws import DRAWS, Now, UnderWay, Worlds
from planning.calc.ahead.fit import KEPT, Fit, fit
from planning.calc.ahead.keep import MODEL, fit_of
from planning.calc.ahead.records import Records, Typical
from shopfloor.models import Table, TableTime

COLUMNS = (
    "pk", "table_id", "version", "seed", "cut_off", "runs", "scale", "scored", "computed_at"
)  # fmt: skip


@dataclass(frozen=True)
class StoredTime:
    """One table's fit. `runs` it was fitted to, known until `cut_off`: none and None where the
    table has nothing on record yet, and the fit then says what was typed and assumed. Ranges are to
    be widened by `scale` (`scores.level_asked`); `scored` says how many of the last held."""

    table_id: int
    fit: Fit
    seed: int
    runs: int = 0
    cut_off: datetime | None = None
    scale: float = 1.0
    scored: dict[str, Any] | None = None
    computed_at: datetime | None = None
    model: int = MODEL

    def worlds(
        self, at: float, clock: StaffedClock, under_way: UnderWay | None = None, draws: int = DRAWS
    ) -> Worlds:
        """Possible shops at a moment (epoch s): the same ones as long as the fit is the same, so
        that a page drawn anew does not jitter."""
        now = Now(at, day_key(clock, at), week_of(at), under_way or UnderWay())
        return Worlds.of(self.fit, now, self.seed, draws)


def stored_books(tables: Iterable[Table]) -> dict[int, StoredTime]:
    """The fit of each table by its id, in one query, or two where it is not in memory yet; where
    none is kept yet, one of what the table's page says (some 0.1 s once).

    When a list of runs will be done, with nothing under way yet:

        stored = stored_books([table])[table.pk]
        clock = clock_of(ShiftBook(now, now + timedelta(days=60)), table.code)   # table_time
        worlds = stored.worlds(now.timestamp(), clock)
        found = finishes(worlds, [Ahead(plan_s, cell, nest, change), ...], clock)   # calc.ahead
        found.wall                 # draws x runs, epoch s; inf beyond the clock's last shift
        found.chance_by(due)       # of each run

    `plan_s` is the plan's `total_s` (without loading, which is drawn), `cell` is `cell_of(...)`,
    `nest` the nest's id. A quote has no clock: `worlds.step(Step.LOAD, day)` and
    `worlds.cutting(run, plan_s, day, worlds.level(0))` are seconds, one a draw, of one sheet each,
    which share the effects of cell, nest and table-day within one `Worlds`; `day` are zeros of
    shape `(worlds.draws,)`, or ones for the day after. Never add quantiles: add draws.
    """
    tables = list(tables)
    known = kept_books([table.pk for table in tables])
    return {table.pk: known.get(table.pk) or assumed(table) for table in tables}


def kept_books(tables: Iterable[int]) -> dict[int, StoredTime]:
    """Only of those tables whose fit is kept."""
    rows = TableTime.objects.filter(table__in=list(tables), model=MODEL)
    found = {}
    for row in rows.exclude(computed_at=None).values(*COLUMNS):
        own = _fit_at(row.pop("pk"), row["computed_at"])
        row.pop("version")
        if own is not None:
            found[row["table_id"]] = StoredTime(fit=own, **row)
    return found


@lru_cache(maxsize=64)
def _fit_at(pk: int, computed_at: datetime) -> Fit | None:
    """Unpacked once: it is some 100 kB. None where it was made anew this very moment."""
    row = TableTime.objects.filter(pk=pk, computed_at=computed_at).first()
    return fit_of(bytes(row.arrays), row.names) if row and row.arrays else None


def assumed(table: Table) -> StoredTime:
    """What is expected of a table that has nothing on record."""
    return StoredTime(table.pk, _assumed(typical_of(table)), seed=0)


@lru_cache(maxsize=64)
def _assumed(typical: Typical) -> Fit:
    return fit(Records(typical=typical), 0, sweeps=KEPT, kept=KEPT)


def typical_of(table: Table) -> Typical:
    """What the table's page says; a change there is the whole time between two runs."""
    return Typical(load_s=table.load_s, unload_s=table.unload_s, change_s=table.change_s)


def cell_of(wear_set: int | None, material: int, thickness_mm: float) -> tuple[object, ...]:
    """What runs share how they differ from plan."""
    return wear_set, material, round(thickness_mm, 2)


def day_key(clock: StaffedClock, at: float) -> int:
    """What a table-day is known by: the moment (epoch s) its shift ends."""
    ends = clock.ends[clock.ends_shift]
    after = ends[ends >= at]
    return int(after[0]) if len(after) else 0
