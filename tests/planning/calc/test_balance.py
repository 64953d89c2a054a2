from __future__ import annotations

from datetime import date

from planning.calc.balance import DayPart, balance

DAY = date(2026, 10, 6)


def test_what_no_run_explains_is_unassigned():
    parts = [
        DayPart(DAY, 1, "fast", planned_s=100, burnt_s=90, runs=1),
        DayPart(DAY, 1, "fast", planned_s=50, burnt_s=60, runs=1),
        DayPart(DAY, 1, "fine", burnt_s=30, runs=1),
    ]
    assert balance(parts, {(DAY, 1): 200.0, (DAY, 2): 0.2}) == [
        DayPart(DAY, 1, "fast", 150, 150, 2),
        DayPart(DAY, 1, "fine", 0, 30, 1),
        DayPart(DAY, 1, "unassigned", burnt_s=20.0),
    ]
