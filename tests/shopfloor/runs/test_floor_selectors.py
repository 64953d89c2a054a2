from __future__ import annotations

from shopfloor.models import Reason, Run
from shopfloor.runs.queries import (
    first_piece_needed,
    last_segment,
    left_s,
    open_conflicts,
    recent_actions,
    stop_reasons,
)
from tests.shopfloor.floor_shop import MINUTE, T0


def test_what_the_plan_still_holds(floor):
    """4 contours of 30 s and 20 s between them. Two done: 2 x 30 + 20 x 2/4 = 70 s are left."""
    floor.done("start", T0, queue_item=floor.queue(floor.nest(contours=4)).pk)
    run = Run.objects.get()
    assert left_s(run, {1, 2}, 4, 1) == 70.0
    assert left_s(run, {1, 2, 3, 4}, 4, 1) == 0.0
    assert left_s(run, {3}, 4, 3) == 35.0  # a sheet carried on at contour 3
    assert left_s(run, {1, 2}, 5, 1) is None  # the plan is of another program


def test_a_plan_that_is_not_there_leaves_the_time_unknown(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest(plan=False)).pk)
    assert left_s(Run.objects.get(), set(), 4, 1) is None


def test_the_first_piece_is_needed_until_a_check_passes(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
    run = Run.objects.get()
    assert first_piece_needed(run, last_segment(run))
    floor.done("check", T0 + MINUTE, passed=True)
    assert not first_piece_needed(run, last_segment(run))


def test_a_reason_switched_off_is_not_offered(floor):
    floor.reason("lunch", "lunch")
    Reason.objects.create(code="fire", label="fire drill", active=False)
    assert [reason.code for reason in stop_reasons()] == ["lunch"]


def test_the_last_entries_come_newest_first(floor):
    for index in range(7):
        floor.done("note", T0 + index * MINUTE, text=f"note {index}")
    texts = [action.result["text"] for action in recent_actions(terminal=floor.terminal, limit=3)]
    assert texts == ["note 6", "note 5", "note 4"]
    assert list(open_conflicts()) == []
