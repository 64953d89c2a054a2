"""What a job's line asks of its edges, in words."""

from __future__ import annotations

import pytest

from shopfloor.chart import duties
from shopfloor.models import JobLine
from shopfloor.runs.jobs import LineStands


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"u_range_asked": 3, "must_be_fine": True}, "range 3"),
        ({"must_be_fine": True}, "fine"),
        ({}, "none"),
    ],
)
def test_what_is_asked_of_the_edge(asked, said):
    assert LineStands(JobLine(**asked)).edge_words == said


def test_a_further_duty_that_cuts_square_is_named_too(monkeypatch):
    monkeypatch.setattr(duties, "SQUARE", ("fine", "fast"))
    assert LineStands(JobLine(must_be_fine=True)).edge_words == "fine, fast"
