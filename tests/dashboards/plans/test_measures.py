from __future__ import annotations

import pytest

from tests.planning.test_measures import NOW, week

__all__ = ["week"]
pytestmark = pytest.mark.django_db


def test_each_measure_stands_with_its_base(week, as_, monkeypatch):
    monkeypatch.setattr("dashboards.data.now", lambda: NOW)
    body = as_("supervisor").get("/balance/measures/?days=7").content.decode()
    # seven days of 7.5 h less 0.3 h of meeting: 52.2 h
    assert "3.0 of 52.2 h" in body
    assert "3.0 of 3.5 h" in body  # burning of burning and unplanned stops
    assert "17 of 20 parts" in body
    assert "2.7 of 3.0 h" in body  # planned arc time of what burnt, of the run with a plan
    assert "3 of 4 checks" in body
    assert "all 4 h 00 min in runs measured" in body


def test_without_a_run_a_measure_is_unknown(north, as_):
    body = as_("supervisor").get("/balance/measures/").content.decode()
    assert "North: no run in this time." in body
    assert body.count('class="unknown"') >= 8
