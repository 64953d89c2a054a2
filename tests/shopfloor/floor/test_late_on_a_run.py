"""What comes late from a tablet without network, after others carried the same run on."""

from __future__ import annotations

import pytest

from shopfloor.models import Run, Segment

from .conftest import MINUTE, T0

NOW = T0 + 10 * MINUTE


@pytest.fixture
def run(floor):
    started = floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
    return started["run"]


def stretches():
    return list(Segment.objects.order_by("started_at").values_list("started_at", "ended_at"))


@pytest.mark.parametrize("at", [T0 - 5 * MINUTE, T0 + 2 * MINUTE])
@pytest.mark.parametrize(
    ("kind", "more"), [("handover", {}), ("restart_at", {"contour": 2, "reason": "power"})]
)
def test_no_stretch_is_put_before_one_that_stands(floor, run, supervisor, kind, more, at):
    """Milo starts at 0 and Per takes over at 5; Dana's tablet says at 10 what she did before."""
    floor.done("handover", T0 + 5 * MINUTE, now=NOW, run=run)
    stood = stretches()
    late = floor.do(kind, at, now=NOW, run=run, person=supervisor, **more)
    assert late.state == "refused"
    assert "before the last start, stop or hand-over" in late.result["message"]
    assert stretches() == stood == [(T0, T0 + 5 * MINUTE), (T0 + 5 * MINUTE, None)]


def test_a_late_hand_over_does_not_carry_on_what_was_set_aside(floor, run, supervisor):
    other = floor.done(
        "start", T0 + 5 * MINUTE, queue_item=floor.queue(floor.nest(name="other")).pk
    )["run"]
    late = floor.do("handover", T0 + 2 * MINUTE, now=NOW, run=run, person=supervisor)
    assert late.state == "refused"
    assert [str(one.pk) for one in Run.objects.filter(state="open")] == [other]


def test_a_hand_over_taken_back_bars_nobody(floor, run, supervisor):
    taken = floor.do("handover", T0 + 5 * MINUTE, now=NOW, run=run)
    floor.done("undo", T0 + 6 * MINUTE, now=NOW, action=str(taken.pk))
    floor.done("handover", T0 + 3 * MINUTE, now=NOW, run=run, person=supervisor)
    assert Segment.objects.exclude(end_reason="undone").latest("started_at").operator == supervisor
