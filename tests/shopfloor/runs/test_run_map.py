"""What the map of a finished run calls its parts."""

from __future__ import annotations

from collections import Counter

import pytest

from shopfloor.models import Contour, PartResult, Run
from shopfloor.runs.run_page import run_map
from tests.shopfloor.floor_shop import MINUTE, T0


@pytest.fixture
def run(floor):
    """Four parts, counted as all good at the screen."""
    item = floor.queue(floor.nest(lines=[floor.line(quantity=4)]))
    started = floor.done("start", T0, queue_item=item.pk)
    floor.done("finish", T0 + 9 * MINUTE, exceptions=[])
    return Run.objects.get(pk=started["run"])


def states(run):
    Contour.objects.update(points=[[0, 0], [100, 0], [100, 100], [0, 0]])
    return Counter(part.state for part in run_map(str(run.pk)).parts)


def test_what_was_counted_good_is_good(run):
    assert states(run) == {"good": 4}


def test_a_scrap_part_that_nobody_named_leaves_none_of_them_good(run):
    """At the desk parts are counted: 3 good and 1 scrap do not say which."""
    good = PartResult.objects.get()
    good.quantity = 3
    good.save()
    PartResult.objects.create(
        run=run, line=good.line, quantity=1, outcome="scrap", at=good.at, by=good.by
    )
    assert states(run)["good"] == 0
    assert sum(states(run).values()) == 4


def test_the_scrap_part_that_was_named_is_scrap_and_the_others_good(floor):
    item = floor.queue(floor.nest(lines=[floor.line(quantity=4)]))
    started = floor.done("start", T0, queue_item=item.pk)
    marked = [{"contour": 2, "outcome": "scrap", "cause": "bevel"}]
    floor.done("finish", T0 + 9 * MINUTE, exceptions=marked)
    assert states(Run.objects.get(pk=started["run"])) == {"good": 3, "scrap": 1}
