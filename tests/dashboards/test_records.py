"""Frames as plain rows, against what pandas itself makes of them."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np

from dashboards.records import records
from planning.reports.frames import frame

NOON = datetime(2026, 10, 6, 12, tzinfo=UTC)
ROWS = [
    (1, 2.5, "x", True, None, NOON, date(2026, 10, 6), [1, 2], None, None, 3),
    (2, float("nan"), "", False, 4, NOON, None, [], 1.5, True, None),
]
COLUMNS = "whole real text flag some_whole at day items some_real some_flag mixed"


def test_rows_are_plain_and_what_is_missing_is_none():
    found = records(frame(COLUMNS, ROWS))
    assert found == [
        dict(zip(COLUMNS.split(), ROWS[0], strict=True)),
        {**dict(zip(COLUMNS.split(), ROWS[1], strict=True)), "real": None},
    ]
    assert [type(found[0][name]) for name in ("whole", "real", "flag")] == [int, float, bool]
    assert type(found[1]["some_whole"]) is int


def test_they_are_what_pandas_makes_of_the_same_frame():
    made = frame(COLUMNS, ROWS)
    plain = made.astype(object).where(made.notna(), None)
    assert records(made) == plain.to_dict("records")


def test_numpys_own_numbers_become_pythons():
    [row] = records(frame("n", [(np.float64(1.5),)]).astype(object))
    assert (row, type(row["n"])) == ({"n": 1.5}, float)


def test_a_frame_without_rows_has_none():
    assert records(frame("a b", [])) == []
