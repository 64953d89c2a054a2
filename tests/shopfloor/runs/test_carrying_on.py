"""A run set aside keeps why, whatever carries it on, and goes on after its last contour."""

from __future__ import annotations

import pytest

from shopfloor.models import ArcAssignment, Run
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


@pytest.mark.parametrize("reason", ["rush", "shift", "power", "crash", "other"])
def test_a_run_set_aside_keeps_its_reason_when_it_is_carried_on(floor, reason):
    floor.tray(label="A")
    floor.done("change_tray", T0 - MINUTE, tray="A")
    item = floor.queue(floor.nest(contours=4), sheet=floor.sheet("S-1"))
    other = floor.queue(floor.nest("N-2", contours=1), sheet=floor.sheet("S-2"))
    run = Run.objects.get(pk=floor.done("start", T0, queue_item=item.pk)["run"])
    end = floor.arcs(T0 + SECOND, [30.0, 30.0])
    floor.follow()
    floor.done("start", end + MINUTE, queue_item=other.pk, aside_reason=reason)
    end = floor.arcs(end + 2 * MINUTE, [30.0])
    floor.follow()
    floor.done("finish", end + MINUTE, exceptions=[])
    floor.done("start", end + 2 * MINUTE, queue_item=item.pk)
    end = floor.arcs(end + 3 * MINUTE, [30.0, 30.0])
    floor.follow()
    floor.done("finish", end + MINUTE, exceptions=[])
    stretches = run.segments.order_by("started_at")
    assert [one.end_reason for one in stretches] == [reason, "finish"]
    assert [one.carries_on for one in stretches] == [False, True]
    arcs = ArcAssignment.objects.filter(segment__run=run).order_by("pk")
    assert [one.contour_number for one in arcs] == [1, 2, 3, 4]


NOT_AT_ALL, A_SECOND = 0 * SECOND, SECOND


@pytest.mark.parametrize("late", [NOT_AT_ALL, A_SECOND])
def test_a_half_burnt_sheet_goes_on_after_arcs_that_were_not_matched_before(floor, late):
    """A tablet whose clock is a little ahead enters its start at the instant it arrives."""
    floor.tray(label="A")
    floor.done("change_tray", T0 - MINUTE, tray="A")
    item = floor.queue(floor.nest(contours=4), sheet=floor.sheet("S-1"))
    other = floor.queue(floor.nest("N-2", contours=1), sheet=floor.sheet("S-2"))
    run = Run.objects.get(pk=floor.done("start", T0, queue_item=item.pk)["run"])
    end = floor.arcs(T0 + SECOND, [30.0, 30.0])
    floor.done("start", end + MINUTE, queue_item=other.pk, aside_reason="rush")
    floor.done("finish", end + 2 * MINUTE, exceptions=[])
    again = end + 3 * MINUTE
    floor.done("start", again, now=again + late, queue_item=item.pk)
    assert [one.first_contour for one in run.segments.order_by("started_at")] == [1, 3]
