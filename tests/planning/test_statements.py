"""What is said of the end of a shift is kept, and held against what came."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planning.reports.today_end import held_words
from planning.services.statements import statements_make, statements_score, statements_sweep
from shopfloor.models import QueueItem, Run, RunState, Statement, TableTime
from tests.planning import cast
from tests.planning.fitted import fitted
from tests.planning.test_today import SHIFT, _listening, _queue, half_burnt

__all__ = ["half_burnt"]
pytestmark = pytest.mark.django_db
SEVEN = SHIFT + timedelta(hours=1, minutes=2)


@pytest.fixture
def said(half_burnt, north, operator):
    """At 07:02: the run on the table has six of its ten contours to burn, 504 s, and one waits:
    600 s between and 600 s at 1.2 of its plan. The end is 1,824 s later, at 07:32."""
    _listening(north, SEVEN)
    fitted(north, SEVEN)
    _queue(north, operator, total_s=600)
    assert statements_make(now=SEVEN) == 1
    return Statement.objects.get()


def _close(run, at):
    Run.objects.filter(pk=run.pk).update(state=RunState.FINISHED, closed_at=at)


def _second(table, operator, item, *, begun, burnt_s):
    run = cast.run(item.nest.revisions.get(), table, start=begun, seconds=burnt_s + 100)
    Run.objects.filter(pk=run.pk).update(queue_item=item)
    cast.arcs(run, [(0, burnt_s, 1)], start=begun)
    return run


def test_an_end_is_kept_once_as_it_was_said(said, half_burnt):
    assert statements_make(now=SEVEN + timedelta(minutes=5)) == 0
    assert (said.kind, said.subject, said.slot) == ("end", "north 2026-10-06 early", "first")
    assert said.quantiles[9] == pytest.approx(SEVEN.timestamp() + 1824, abs=120)
    assert said.rests_on["list"] == [
        {"run": str(half_burnt.pk)}, {"item": QueueItem.objects.get().pk},
    ]  # fmt: skip
    assert (said.model, said.seed, said.cut_off, said.scale) == (2, 7, SEVEN, 1.0)
    assert len(said.list_hash) == 64


@pytest.mark.parametrize("minutes", [-30, 31, 200])
def test_none_is_made_at_other_times(half_burnt, north, minutes):
    now = SHIFT + timedelta(hours=1, minutes=minutes)
    _listening(north, now)
    fitted(north, now)
    assert statements_make(now=now) == 0


def test_none_is_made_of_a_table_nothing_is_heard_from(north, operator):
    fitted(north, SEVEN)
    _queue(north, operator, total_s=600)
    assert statements_make(now=SEVEN) == 0
    _listening(north, SEVEN)
    assert statements_make(now=SEVEN) == 1


def test_it_is_scored_when_its_last_run_is_over(said, half_burnt, north, operator):
    item = QueueItem.objects.get()
    _close(half_burnt, SEVEN + timedelta(minutes=9))
    later = SEVEN + timedelta(hours=2)
    assert statements_score(now=later) == 0
    begun = SEVEN + timedelta(seconds=1110)
    _second(north, operator, item, begun=begun, burnt_s=720)
    assert statements_score(now=later) == 1
    said.refresh_from_db()
    assert said.outcome == begun.timestamp() + 720
    assert 0.1 < said.pit < 0.9
    assert 0 < said.crps < 600
    assert "drawn" not in said.rests_on
    row = TableTime.objects.get()
    assert row.scored == {"said": 1, "held": 1, "low": 0, "high": 1, "voided": 0}
    assert row.scale != 1.0
    assert statements_sweep(now=later) == 0


def test_a_late_end_widens_the_next_ranges(said, half_burnt, north, operator):
    item = QueueItem.objects.get()
    _close(half_burnt, SEVEN + timedelta(minutes=9))
    _second(north, operator, item, begun=SEVEN + timedelta(hours=2), burnt_s=700)
    statements_score(now=SEVEN + timedelta(hours=4))
    row = TableTime.objects.get()
    assert row.scored["held"] == 0
    assert row.scale > 1


def test_a_run_that_was_not_on_the_list_makes_it_void(said, half_burnt, north, operator):
    _close(half_burnt, SEVEN + timedelta(minutes=9))
    other = cast.nest(operator, [(None, 1e4, 60)], name="rush")
    cast.run(other, north, start=SEVEN + timedelta(minutes=10), seconds=600)
    assert statements_score(now=SEVEN + timedelta(hours=2)) == 1
    said.refresh_from_db()
    assert (said.voided, said.scored_at) == ("list", None)
    assert TableTime.objects.get().scored == {"voided": 1}
    assert TableTime.objects.get().scale == 1.0


def test_a_list_that_is_not_cut_days_later_is_a_miss(said, half_burnt):
    """Its truth lies above all 199 draws: 199.5 of 200."""
    assert statements_score(now=SEVEN + timedelta(days=2)) == 0
    assert statements_score(now=SEVEN + timedelta(days=4)) == 1
    said.refresh_from_db()
    assert (said.voided, said.rests_on["later"]) == ("", True)
    assert said.outcome == said.due_at.timestamp()
    assert said.raw_pit == pytest.approx(0.9975)
    assert 2 * 86_400 < said.crps < 3.1 * 86_400
    row = TableTime.objects.get()
    assert row.scored == {"said": 1, "held": 0, "low": 0, "high": 1, "voided": 0, "later": 1}
    # z of .9975 is 2.807: k^2 = (20 + 7.880) / 21
    assert row.scale == pytest.approx(1.1522, abs=1e-3)
    assert "1 ended later than three days after their range" in held_words(row.scored)


@pytest.mark.parametrize("change", [{"state": "dropped"}, {"table": None}])
def test_a_list_that_was_taken_down_is_void_days_later(said, south, change):
    QueueItem.objects.update(**(change if "state" in change else {"table": south}))
    assert statements_score(now=SEVEN + timedelta(days=4)) == 1
    said.refresh_from_db()
    assert (said.voided, said.scored_at) == ("list", None)


def test_a_last_run_nobody_closed_does_not_tell_when_it_ended(said, half_burnt, north, operator):
    _close(half_burnt, SEVEN + timedelta(minutes=9))
    begun = SEVEN + timedelta(minutes=20)
    run = _second(north, operator, QueueItem.objects.get(), begun=begun, burnt_s=600)
    Run.objects.filter(pk=run.pk).update(state=RunState.OPEN, closed_at=None)
    assert statements_score(now=SEVEN + timedelta(days=4)) == 1
    said.refresh_from_db()
    assert said.voided == "never"
