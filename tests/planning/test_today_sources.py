"""What Today says of a table's source: none yet, new, or never heard."""

from __future__ import annotations

import pytest

from planning.reports import today
from tests.planning import cast
from tests.planning.test_today import SHIFT, _listening

pytestmark = pytest.mark.django_db


def test_a_table_without_a_source_is_never_called_waiting(north):
    [row] = today(now=cast.at(SHIFT, 600)).tables
    assert (row.shares.unknown_s, row.shares.waiting_s) == (600, 0)
    assert row.shares.burning_share is None


def _event(feed, at):
    from telemetry.models import Event

    at_us = cast.to_us(at)
    Event.objects.create(
        feed=feed, key=at_us.to_bytes(16, "big"), at_us=at_us, torch="1", kind=1,
        stamp="", received_us=at_us, feed_version=1,
    )  # fmt: skip


def test_the_time_before_a_source_was_is_no_silence_of_it(north):
    """Set up at 06:30, first line at 06:40, heard ever since; now it is 07:00. Accounted for are
    30 min: 10 unknown, 20 waiting."""
    now = cast.at(SHIFT, 3600)
    feed = _listening(north, now)
    feed.created_us = cast.to_us(cast.at(SHIFT, 1800))
    feed.save()
    _event(feed, cast.at(SHIFT, 2400))
    [row] = today(now=now).tables
    assert (row.shares.unknown_s, row.shares.waiting_s, row.shares.total_s) == (600, 1200, 1800)
    assert row.source_from_us == feed.created_us
    assert row.shares.burning_low == 0
    assert row.shares.burning_high == pytest.approx(600 / 1800)


def test_lines_from_before_a_source_was_set_up_count_from_the_first(north):
    now = cast.at(SHIFT, 3600)
    feed = _listening(north, now)
    feed.created_us = cast.to_us(cast.at(SHIFT, 1800))
    feed.save()
    _event(feed, cast.at(SHIFT, 900))
    [row] = today(now=now).tables
    assert (row.shares.unknown_s, row.shares.waiting_s) == (0, 2700)


def test_a_source_that_never_gave_a_line_is_unknown_since_it_was_set_up(north):
    """However good its link. Before that it was not there."""
    now = cast.at(SHIFT, 3600)
    feed = _listening(north, now)
    feed.health.last_byte_us = None
    feed.health.save()
    feed.created_us = cast.to_us(cast.at(SHIFT, 1200))
    feed.save()
    [row] = today(now=now).tables
    assert (row.shares.unknown_s, row.shares.waiting_s) == (2400, 0)
    assert row.strip.silent_since_us == feed.created_us
    assert not row.strip.sourceless


def test_a_table_without_a_source_says_so_on_its_strip(north):
    [row] = today(now=cast.at(SHIFT, 600)).tables
    assert row.source_from_us is None
    assert row.strip.sourceless
