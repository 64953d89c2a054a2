"""Time that overlaps counts once, whatever it is listed under; checked second by second."""

from __future__ import annotations

import random
from datetime import date

import pytest

from planning.reports.measure_sums import Sums
from planning.reports.measure_times import (
    DELAY,
    PLANNED,
    US_HOUR,
    Base,
    Shift,
    Stop,
    hours,
    planned_busy,
    stopped,
)
from shopfloor.models import Table

DAY = date(2026, 10, 6)


def _spans(rng, number):
    spans = []
    for _ in range(number):
        start = rng.randrange(300)
        spans.append((start, start + rng.randrange(1, 90)))
    return sorted(spans)


def _seconds(spans):
    return {second for start, end in spans for second in range(start, end)}


@pytest.mark.parametrize("seed", range(20))
def test_the_stretches_are_the_seconds_that_each_sort_covers(seed):
    rng = random.Random(seed)
    shifts, breaks = _spans(rng, 4), _spans(rng, 3)
    stops = [(span, rng.choice([PLANNED, DELAY])) for span in _spans(rng, 8)]
    base = Base(
        Table(), Sums(), [Shift(DAY, "early", span) for span in shifts], breaks,
        [Stop(span, sort, "", None) for span, sort in stops],
    )  # fmt: skip
    of = {sort: _seconds(span for span, own in stops if own == sort) for sort in (PLANNED, DELAY)}
    worked = _seconds(shifts) - _seconds(breaks)
    assert hours(planned_busy(base)) * US_HOUR == pytest.approx(len(worked - of[PLANNED]))
    assert hours(stopped(base, DELAY)) * US_HOUR == pytest.approx(
        len(worked & of[DELAY] - of[PLANNED])
    )
