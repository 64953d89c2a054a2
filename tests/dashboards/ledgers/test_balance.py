from __future__ import annotations

from datetime import date

from dashboards.ledgers import balance
from tests.dashboards import made

D6, D7, D8 = date(2026, 10, 6), date(2026, 10, 7), date(2026, 10, 8)
ROWS = [
    (D6, "North", "fine", 60.0, 70.0, 2),
    (D6, "South", "fast", 30.0, 20.0, 1),
    (D6, "South", "unassigned", None, 4.0, 0),
    (D8, "North", "fast", 10.0, None, 1),
]


def test_every_date_has_its_entry_and_tables_are_added():
    first, second, third = balance.days(made.days(ROWS), D6, D8)
    assert first.burnt == {"fine": 70.0, "fast": 20.0, "unassigned": 4.0}
    assert (first.planned_min, first.burnt_min, first.runs) == (90.0, 94.0, 3)
    assert (second.day, second.burnt_min, second.planned_min) == (D7, 0.0, 0.0)
    assert (third.planned_min, third.burnt_min) == (10.0, 0.0)


def test_one_table_alone():
    [day] = balance.days(made.days(ROWS), D6, D6, "South")
    assert (day.burnt["fine"], day.burnt_min, day.runs) == (0.0, 24.0, 1)


def test_sets_that_can_stand_before_those_that_cannot_the_cheapest_first():
    rows = [
        made.a_set("North", "refused", problem="20 mm is above the pierce limit of 12 mm"),
        made.a_set("North", "dear", cost=1200),
        made.a_set("South", "unpriced", cost=None),
        made.a_set("South", "cheap", cost=900),
    ]
    found = balance.sets(made.frame(made.SETS, rows))
    assert [row["wear_set"] for row in found] == ["cheap", "dear", "unpriced", "refused"]
