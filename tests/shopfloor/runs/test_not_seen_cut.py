"""Parts counted good that the signal did not see cut are taken, and said to the supervisor."""

from __future__ import annotations

import pytest

from shopfloor.models import Run
from shopfloor.runs.arcs import to_us
from telemetry.models import Arc
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


@pytest.fixture
def started(floor):
    line = floor.line(quantity=4)
    floor.feed()
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4, lines=[line])).pk)
    return line


@pytest.mark.parametrize(("burnt", "unseen"), [(4, 0), (3, 1), (0, 4)])
def test_all_good_says_what_was_not_seen(floor, started, burnt, unseen):
    floor.arcs(T0 + 10 * SECOND, [30.0] * burnt)
    floor.follow()
    told = floor.done("finish", T0 + 5 * MINUTE, exceptions=[])
    said = f"{unseen} part{'s' if unseen > 1 else ''} counted good, not seen cut"
    assert Run.objects.get().note == (said if unseen else "")
    assert told["questions"] == ([f"{said}: the supervisor sees it."] if unseen else [])


def test_what_is_marked_uncut_is_not_counted_against_the_signal(floor, started):
    floor.arcs(T0 + 10 * SECOND, [30.0] * 3)
    floor.follow()
    left = {"contour": 4, "outcome": "not_cut"}
    assert floor.done("finish", T0 + 5 * MINUTE, exceptions=[left])["questions"] == []


def test_without_a_signal_nothing_is_missed(floor):
    line = floor.line(quantity=4)
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4, lines=[line])).pk)
    assert floor.done("finish", T0 + MINUTE, exceptions=[])["questions"] == []


def test_counted_by_line_it_is_held_against_the_signal_too(floor, started):
    floor.arcs(T0 + 10 * SECOND, [30.0] * 2)
    floor.follow()
    told = floor.done("finish", T0 + 5 * MINUTE, parts=[{"line": started.pk, "good": 3}])
    assert told["questions"] == ["1 part counted good, not seen cut: the supervisor sees it."]
    assert Arc.objects.filter(on_us__gt=to_us(T0)).count() == 2
