"""Pace and shares of Today, within a shift, before it and after it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planning.reports import today
from planning.services.run_figures import run_figures
from shopfloor.models import Shift
from tests.planning import cast
from tests.planning.swept import today_swept
from tests.planning.test_today import SHIFT, _listening, _queue, half_burnt

pytestmark = pytest.mark.django_db
__all__ = ["half_burnt"]  # a fixture


def test_a_silent_source_is_unknown_since_its_last_sign(half_burnt, north):
    from telemetry.models import Health

    last = cast.at(SHIFT, 400)
    now = cast.at(SHIFT, 1000)
    feed = cast.feed(north, "north-feed")
    at_us = cast.to_us(last)
    Health.objects.create(feed=feed, link="waiting", since_us=at_us, beat_us=cast.to_us(now),
                          last_byte_us=at_us)  # fmt: skip
    board = today_swept(now=now)
    [row] = board.tables
    assert row.strip.silent_since_us == at_us
    assert row.shares.unknown_s == 600
    assert any(act.code == "feed" for note in board.notes for act in note.acts)


def test_the_pace_is_unknown_while_the_open_run_has_no_plan(north, operator):
    now = cast.at(SHIFT, 600)
    _listening(north, now)
    revision = cast.nest(operator, [(None, 1e4, 60)] * 4)
    run = cast.run(revision, north, start=SHIFT, seconds=None, state="open")
    cast.arcs(run, [(10, 70, 1), (80, 140, 2)], start=SHIFT)
    [row] = today(now=now).tables
    assert row.strip.pace == ()


def test_a_run_without_a_plan_that_is_over_is_neither_ahead_nor_behind(half_burnt, north, operator):
    """half_burnt is 60 s behind at 340 s. An unplanned run filled the 1,000 s before it: with its
    time left out the table is 60 s behind all the same."""
    now = cast.at(SHIFT, 360)
    _listening(north, now)
    earlier = cast.at(SHIFT, -1000)
    revision = cast.nest(operator, [(None, 1e4, 60)] * 2, name="bare")
    cast.run(revision, north, start=earlier, seconds=1000)
    Shift.objects.all().delete()  # the window is the local day
    before = (cast.to_us(earlier) - cast.to_us(SHIFT - timedelta(hours=6))) / 60e6
    [row] = today(now=now).tables
    assert row.strip.pace[-1].ahead_min == pytest.approx(-1 - before)


def test_no_pace_is_drawn_where_nothing_planned_was_seen_burnt(north):
    now = cast.at(SHIFT, 600)
    _listening(north, now)
    [row] = today(now=now).tables
    assert row.strip.pace == ()


def test_after_the_last_shift_the_pace_counts_no_hour_nobody_was_to_work(
    half_burnt, north, operator
):
    """Early alone is left, 06:00 to 14:00; it is 14:30. The four contours were 60 s behind at
    340 s after six, and the six hours before are no plan's."""
    Shift.objects.exclude(name="early").delete()
    now = cast.at(SHIFT, 8.5 * 3600)
    _listening(north, now)
    [row] = today(now=now).tables
    assert row.shift == ""
    assert row.strip.pace[-1].ahead_min == pytest.approx(-1)


def test_after_the_last_shift_the_shares_are_of_staffed_hours(half_burnt, north, operator):
    """Early alone is left, 06:00 to 14:00; it is 14:30. Four arcs of 60 s burnt in it, so 240 s of
    its 8 h. Another burnt from 14:10:00 to 14:10:30, when nobody was to work: it is in no share."""
    Shift.objects.exclude(name="early").delete()
    now = cast.at(SHIFT, 8.5 * 3600)
    feed = _listening(north, now)
    feed.created_us = cast.to_us(cast.at(SHIFT, -7200))  # heard since 04:00, before the shift
    feed.save()
    late_s = 8 * 3600 + 600
    cast.arcs(half_burnt, [(late_s, late_s + 30, 5)], start=SHIFT)
    [row] = today(now=now).tables
    shares = row.shares
    assert (shares.burning_s, shares.outside_s) == (240, 30)
    assert shares.total_s == 8 * 3600
    assert shares.burning_share == pytest.approx(240 / (8 * 3600))


def test_before_the_first_shift_of_the_day_nothing_is_a_share(half_burnt, north):
    """05:00, and the shift begins at six: a trial cut at 04:30 burnt outside it."""
    Shift.objects.exclude(name="early").delete()
    now = cast.at(SHIFT, -3600)
    _listening(north, now)
    cast.arcs(half_burnt, [(-5400, -5380, None)], start=SHIFT)
    [row] = today(now=now).tables
    assert (row.shares.total_s, row.shares.outside_s) == (0, 20)
    assert row.shares.burning_share is None


def test_outside_any_shift_it_is_the_local_day(north):
    Shift.objects.all().delete()
    [row] = today(now=cast.NOON).tables
    assert (row.strip.shift_end_us - row.strip.start_us) / 3_600_000_000 == 24


def test_as_many_queries_for_many_runs_as_for_few(
    half_burnt, north, south, operator, django_assert_max_num_queries
):
    now = cast.at(SHIFT, 7 * 3600)
    _listening(north, now)
    for number in range(12):
        begun = cast.at(SHIFT, 1000 + 900 * number)
        revision = cast.nest(operator, [], name=f"M-{number}")
        run = cast.run(revision, north if number % 2 else south, start=begun, seconds=800)
        cast.arcs(run, [(n * 3, n * 3 + 2, 1) for n in range(100)], start=begun)
        _queue(south, operator, total_s=500, name=f"Q-{number}")
        run_figures(key=str(run.pk), payload={})
    # Six of them ask what was not heard: sources, the days they count (twice), gaps, cursors,
    # counts entered instead.
    with django_assert_max_num_queries(46):
        today(now=now)
