"""What comes late from a tablet without network, after others carried the same run on."""

from __future__ import annotations

import pytest

from shopfloor.models import PartResult, Run, Segment
from shopfloor.runs.queries import current_run

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


def test_a_late_start_is_set_aside_by_the_start_after_it(floor, run, supervisor):
    """Dana's tablet starts X at 2 without network, Milo's starts Y at 5; hers comes in at 10."""
    y = floor.done("start", T0 + 5 * MINUTE, queue_item=floor.queue(floor.nest(name="Y")).pk)["run"]
    item = floor.queue(floor.nest(name="X"))
    late = floor.done("start", T0 + 2 * MINUTE, now=NOW, queue_item=item.pk, person=supervisor)
    assert any("Y was started after it" in said for said in late["questions"])
    x = Segment.objects.get(run=late["run"])
    assert (x.started_at, x.ended_at, x.end_reason) == (T0 + 2 * MINUTE, T0 + 5 * MINUTE, "rush")
    assert [str(one.pk) for one in Run.objects.filter(state="open")] == [y]
    assert current_run(floor.table, NOW).pk == Run.objects.get(pk=y).pk


def test_a_start_and_its_finish_that_come_late_are_one_sheet(floor, supervisor):
    """X is cut from 2 to 20 on a tablet without network; Y is started on the other at 25."""
    line = floor.line(quantity=4)
    item = floor.queue(floor.nest(name="X", lines=[line]))
    floor.done("start", T0 + 25 * MINUTE, queue_item=floor.queue(floor.nest(name="Y")).pk)
    came = T0 + 40 * MINUTE
    x = floor.done("start", T0 + 2 * MINUTE, now=came, queue_item=item.pk, person=supervisor)
    floor.done("finish", T0 + 20 * MINUTE, now=came, exceptions=[], person=supervisor)
    run = Run.objects.get(pk=x["run"])
    assert (run.state, run.closed_at) == ("finished", T0 + 20 * MINUTE)
    assert run.segments.get().ended_at == T0 + 20 * MINUTE
    assert PartResult.objects.get(run=run).quantity == 4
    assert Run.objects.get(state="open").revision.nest.name == "Y"
