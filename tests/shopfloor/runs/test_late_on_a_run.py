"""What comes late from a tablet without network, after others carried the same run on."""

from __future__ import annotations

import pytest

from shopfloor.models import PartResult, Run, Segment, Stoppage
from shopfloor.runs.queries import current_run
from tests.shopfloor.floor_shop import MINUTE, T0

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
    """It splits the stretch that was cut: who cut which part of it is known."""
    other = floor.done(
        "start", T0 + 5 * MINUTE, queue_item=floor.queue(floor.nest(name="other")).pk
    )["run"]
    floor.done("handover", T0 + 2 * MINUTE, now=NOW, run=run, person=supervisor)
    assert people(run) == [
        ("Milo", T0, T0 + 2 * MINUTE),
        ("Dana", T0 + 2 * MINUTE, T0 + 5 * MINUTE),
    ]
    assert [str(one.pk) for one in Run.objects.filter(state="open")] == [other]
    assert current_run(floor.table, NOW).pk == Run.objects.get(pk=other).pk


@pytest.mark.parametrize(
    ("kind", "more"), [("handover", {}), ("restart_at", {"contour": 2, "reason": "power"})]
)
def test_after_it_was_set_aside_nothing_late_opens_it_again(floor, run, supervisor, kind, more):
    """Its end was taken from its last arc at 2; Y is started at 90."""
    floor.arcs(T0 + MINUTE, [60])
    floor.follow()
    y = floor.done("start", T0 + 90 * MINUTE, queue_item=floor.queue(floor.nest(name="Y")).pk)[
        "run"
    ]
    came = T0 + 95 * MINUTE
    floor.do(kind, T0 + 80 * MINUTE, now=came, run=run, person=supervisor, **more)
    assert [str(one.pk) for one in Run.objects.filter(state="open")] == [y]
    ends = [ended for _, _, ended in people(run)]
    assert all(ended <= T0 + 90 * MINUTE for ended in ends)


def people(run):
    rows = Segment.objects.filter(run=run).exclude(end_reason="undone").order_by("started_at")
    names = rows.select_related("operator")
    return [(one.operator.shown_name.split()[0], one.started_at, one.ended_at) for one in names]


@pytest.fixture
def offline(floor, supervisor):
    """X is started at 0 on a tablet without network; the other starts Y at 30. The first comes
    back at 40."""
    item = floor.queue(floor.nest(name="X"))
    floor.done("start", T0 + 30 * MINUTE, queue_item=floor.queue(floor.nest(name="Y")).pk)
    return floor.done("start", T0, now=T0 + 40 * MINUTE, queue_item=item.pk)["run"]


def test_a_start_a_hand_over_and_a_finish_that_come_late_keep_both_people(
    floor, offline, supervisor
):
    came = T0 + 40 * MINUTE
    handed = floor.do("handover", T0 + 15 * MINUTE, now=came, person=supervisor)
    assert handed.state == "applied", handed.result
    middle = T0 + 15 * MINUTE
    assert people(offline) == [("Milo", T0, middle), ("Dana", middle, T0 + 30 * MINUTE)]
    assert Run.objects.get(pk=offline).state == "stopped"
    assert Run.objects.get(state="open").revision.nest.name == "Y"
    floor.done("finish", T0 + 25 * MINUTE, now=came, exceptions=[], person=supervisor)
    assert people(offline) == [("Milo", T0, middle), ("Dana", middle, T0 + 25 * MINUTE)]
    assert Run.objects.get(pk=offline).state == "finished"
    assert Run.objects.get(state="open").revision.nest.name == "Y"


def test_a_late_hand_over_of_what_was_set_aside_is_taken_back(floor, offline, supervisor):
    came = T0 + 40 * MINUTE
    handed = floor.do("handover", T0 + 15 * MINUTE, now=came, person=supervisor)
    floor.done("undo", T0 + 41 * MINUTE, action=str(handed.pk), person=supervisor)
    assert people(offline) == [("Milo", T0, T0 + 30 * MINUTE)]
    assert Run.objects.get(state="open").revision.nest.name == "Y"


def test_a_restart_that_comes_late_splits_what_was_set_aside(floor, offline, supervisor):
    """The last arc before it ended at 8: 7 minutes without power. Arcs after it are the second
    stretch's; a stoppage of Y is left alone."""
    floor.arcs(T0 + 7 * MINUTE, [60])
    floor.arcs(T0 + 16 * MINUTE, [60, 60])
    floor.follow()
    came = T0 + 40 * MINUTE
    floor.done("stop", T0 + 35 * MINUTE, now=came)
    floor.done(
        "restart_at", T0 + 15 * MINUTE, now=came, person=supervisor, run=offline,
        contour=2, reason="power",
    )  # fmt: skip
    cut = people(offline)
    assert cut == [
        ("Milo", T0, T0 + 8 * MINUTE),
        ("Dana", T0 + 15 * MINUTE, T0 + 30 * MINUTE),
    ]
    [first, second] = Segment.objects.filter(run=offline).order_by("started_at")
    assert (first.assignments.count(), second.assignments.count()) == (1, 2)
    assert Run.objects.get(pk=offline).state == "stopped"
    stood = Stoppage.objects.filter(run=offline).get()
    assert (stood.started_at, stood.ended_at) == (T0 + 8 * MINUTE, T0 + 15 * MINUTE)
    y = Run.objects.get(revision__nest__name="Y")
    assert Stoppage.objects.get(run=y).ended_at is None


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


def test_a_stop_and_a_resume_that_come_late_leave_it_set_aside(floor, offline):
    came = T0 + 40 * MINUTE
    floor.done("stop", T0 + 5 * MINUTE, now=came)
    floor.done("resume", T0 + 10 * MINUTE, now=came)
    stood = Stoppage.objects.get(run=offline)
    assert (stood.started_at, stood.ended_at) == (T0 + 5 * MINUTE, T0 + 10 * MINUTE)
    assert Run.objects.get(pk=offline).state == "stopped"
    assert Run.objects.get(state="open").revision.nest.name == "Y"
    floor.done("finish", T0 + 25 * MINUTE, now=came, exceptions=[])
    assert people(offline) == [("Milo", T0, T0 + 25 * MINUTE)]
