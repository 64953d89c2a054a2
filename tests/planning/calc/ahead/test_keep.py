"""A fit kept as bytes and names comes back as it was."""

from __future__ import annotations

import json

import numpy as np
import pytest

from planning.calc.ahead.clock import StaffedClock
from planning.calc.ahead.draws import Ahead, Now, Worlds, finishes
from planning.calc.ahead.fit import fit
from planning.calc.ahead.keep import fit_of, kept
from planning.calc.ahead.records import Cut, Handling, Records, Step, Stop


@pytest.fixture(scope="module")
def fitted():
    cuts = [Cut(n // 4, n // 20, (1, 2, 6.0), n % 5, 1000.0, 1100.0 + 7 * n) for n in range(24)]
    handling = [Handling(step, n // 4, 100.0 + n) for n in range(24) for step in Step]
    records = Records(cuts, handling, [Stop(1, 600.0), Stop(5, 300.0)], [500.0, 700.0])
    return fit(records, 3, sweeps=40, kept=20)


def test_what_is_drawn_from_a_kept_fit_is_what_was_drawn_from_it(fitted):
    packed, names = kept(fitted, lambda day: day)
    again = fit_of(packed, json.loads(json.dumps(names)))
    clock = StaffedClock.of([(0.0, 30_000.0)], [True])
    runs = [Ahead(1000.0, (1, 2, 6.0), 3), Ahead(900.0, (9, 9, 1.0), 77, change=True)]

    def ends(one):
        return finishes(Worlds.of(one, Now(0.0, 5, 1), 11, 200), runs, clock).staffed

    assert ends(again) == pytest.approx(ends(fitted), rel=1e-4)


def test_a_table_day_is_known_by_its_own_key_and_an_unknown_one_left_out(fitted):
    _packed, names = kept(fitted, lambda day: 1000 + day if day > 3 else None)
    assert [key for key, _ in names["days"]] == [1004, 1005]
    assert [key for key, _ in names["stops_days"]] == [1004, 1005]


def test_it_is_small(fitted):
    packed, _names = kept(fitted, lambda day: day)
    floats = sum(np.asarray(getattr(fitted, name)).size for name in ("cell", "nest", "day"))
    assert len(packed) < 4 * floats + 20_000
