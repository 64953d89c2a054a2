"""The pace of a table whose time is fitted: against what its runs usually take, lost by cause."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from planning.calc.ahead.draws import Spent
from planning.inputs.stored_time import cell_of, stored_books
from planning.reports import today, today_standard
from tests.planning import cast
from tests.planning.fitted import fitted
from tests.planning.said import open_figure
from tests.planning.test_opened_sums import _adds_up
from tests.planning.test_today import SHIFT, _listening, half_burnt

__all__ = ["half_burnt"]
pytestmark = pytest.mark.django_db


def _rows(now):
    figure = open_figure(kind="pace", id=f"north@{cast.to_us(now)}")
    return figure, {row.label: row.amount for row in figure.rows if not row.total}


@pytest.fixture
def known(half_burnt, north):
    """Four contours, 280 s of plan, burnt from 10 s to 340 s after the shift's start."""
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    fitted(north, now)
    return now


def test_the_pace_is_held_against_what_the_work_usually_takes(known, north):
    """Allowed 336 s of cutting (1.2 of the plan) and five minutes of loading, and something for
    the start; it took 330 s and ten."""
    figure, rows = _rows(known)
    assert rows["cutting"] == pytest.approx(280 * 1.2 - 330, abs=6)
    assert rows["loading"] == pytest.approx(300 - 10, abs=15)
    assert 30 < rows["start of the shift"] < 60  # half of what is idle around a shift's end
    [row] = today(now=known).tables
    last = row.strip.pace[-1]
    whole = [row.amount for row in figure.rows if row.total]
    assert whole == [pytest.approx(last.ahead_min * 60)] * 2
    assert _adds_up(figure) == 2
    assert figure.value == f"{last.ahead_min:.0f} min ahead"
    # 340 s of handling's variance, 12 s2 a second, alone: 1.28 x 64 s; hardly a stop beside it
    assert 1.36 < last.usual_min < 2.5


def test_what_was_lost_stands_with_its_cause_and_its_run(half_burnt, north, operator):
    """The first run stopped twenty minutes, and half an hour passed until the second."""
    first = cast.arcs(half_burnt, [(1600 + 90 * n, 1660 + 90 * n, n + 5) for n in range(6)],
                      start=SHIFT)  # fmt: skip
    assert len(first) == 6
    cast.stoppage(half_burnt, cast.at(SHIFT, 345), 1200)
    half_burnt.state, half_burnt.closed_at = "finished", cast.at(SHIFT, 2400)
    half_burnt.save()
    plan = cast.plan([60] * 10, travel_s=10)
    second = cast.run(half_burnt.revision, north, start=cast.at(SHIFT, 4200), seconds=None,
                      state="open", plan=plan)  # fmt: skip
    cast.arcs(second, [(300, 360, 1)], start=cast.at(SHIFT, 4200))
    now = cast.at(SHIFT, 4600)
    _listening(north, now)
    fitted(north, now)
    figure, rows = _rows(now)
    assert rows["stoppages"] == pytest.approx(-1200, abs=10)
    assert rows["waits between runs"] == pytest.approx(60 - 1800, abs=30)
    # 700 s and 70 s of plan; 10 s to 2,110 s less the stop, and the arc of the second
    assert rows["cutting"] == pytest.approx(770 * 1.2 - (2100 - 1200) - 60, abs=20)
    assert rows["unloading"] == pytest.approx(240 - 290, abs=15)
    assert _adds_up(figure) == 2
    assert figure.value.endswith("min behind")


def test_a_break_is_no_time_for_work(known, north):
    from shopfloor.models import Shift

    before = today(now=known).tables[0].strip.pace[-1].ahead_min
    Shift.objects.filter(name="early").update(breaks=[["06:01", 2, "rest"]])
    after = today(now=known).tables[0].strip.pace[-1].ahead_min
    assert after - before == pytest.approx(2)


def test_what_cutting_usually_takes_is_worked_out_once_a_nest(known, north, monkeypatch):
    usual = today_standard.Standard(stored_books([north])[north.pk])
    cell = cell_of(cast.wear_set().pk, cast.material().pk, 6.0)
    run = SimpleNamespace(cell=cell, nest_id=10_000)
    other = usual.cut(SimpleNamespace(cell=cell, nest_id=10_001), 1_000_000_000)[Spent.CUT]
    first = usual.cut(run, 1_000_000_000)[Spent.CUT]
    assert first == pytest.approx(1_200_000_000, rel=0.03)  # 1.2 of the plan
    assert first != other  # each nest its own
    monkeypatch.setattr(today_standard, "np", None)
    assert usual.cut(run, 2_000_000_000)[Spent.CUT] == pytest.approx(2 * first, abs=1)
