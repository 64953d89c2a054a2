"""A table whose time is fitted: runs that took 1.2 of their plan, five minutes to load, four to
unload, one between runs and ten for a change, and hardly a stop."""

from __future__ import annotations

from functools import lru_cache

from planning.calc.ahead.fit import fit
from planning.calc.ahead.keep import MODEL, kept
from planning.calc.ahead.records import Cut, Handling, Records, Step, Typical
from planning.inputs.stored_time import cell_of
from shopfloor.models import TableTime
from tests.planning import cast

RATIO = 1.2
TOOK = {Step.LOAD: 300.0, Step.UNLOAD: 240.0, Step.GAP: 60.0, Step.CHANGE: 600.0}
RUNS = 160


@lru_cache(maxsize=4)
def _kept(cell, ratio):
    cuts = [
        Cut(n // 4, 2960 + n // 40, cell, 10_000 + n % 20, 1000.0, 1000.0 * ratio)
        for n in range(RUNS)
    ]
    steps = [Handling(step, n // 4, TOOK[step]) for n in range(RUNS) for step in Step]
    typical = Typical(300, 240, 60, 600, 600, 600, 0.001)
    records = Records(cuts, steps, [], [60.0] * 100, typical=typical)
    return kept(fit(records, 1, sweeps=60, kept=40), lambda day: None)


def fitted(table, now, *, ratio=RATIO, **more):
    """Keeps such a fit for a table."""
    cell = cell_of(cast.wear_set().pk, cast.material().pk, 6.0)
    arrays, names = _kept(cell, ratio)
    values = {"cut_off": now, "runs": RUNS, "computed_at": now} | more
    return TableTime.objects.create(
        table=table, model=MODEL, seed=7, arrays=arrays, names=names, **values
    )
