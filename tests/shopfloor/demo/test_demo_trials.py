"""The invented shop's trials are there, marked as examples, and none is in the chart by itself."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from shopfloor.chart.trials import trial_promote
from shopfloor.demo import make
from shopfloor.models import ChartTrial

NOW = datetime(2026, 10, 8, 15, tzinfo=UTC)


@pytest.mark.django_db
def test_three_trials_of_the_seldom_cut_stainless():
    make.standing(begin=NOW - timedelta(days=90), now=NOW, zone="America/Chicago")
    found = list(ChartTrial.objects.select_related("material").order_by("at"))
    assert [trial.severed for trial in found] == [False, True, True]
    assert {trial.material.family for trial in found} == {"stainless"}
    assert all("example values, not for cutting" in trial.note for trial in found)
    assert all(trial.row is None and trial.at < NOW for trial in found)
    row = trial_promote(trial=found[1], by=found[1].by)
    assert row.speed_mm_min == found[1].speed_mm_min
