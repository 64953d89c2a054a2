"""What the floor wants computed, planning can compute."""

from __future__ import annotations

from planning.services.work import run_all_waiting
from shopfloor.models import Run, RunVariance, Work
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


def test_nothing_the_floor_wants_fails(floor, supervisor):
    """A power cut 12 s into contour 3 of 4 x 30 s, restarted there after 47 min: burnt 60 + 12 + 60
    = 132 s in 5 arcs."""
    floor.reason("power")
    floor.tray(label="A")
    floor.done("change_tray", T0 - MINUTE, tray="A")
    line = floor.line(quantity=4)
    run = floor.done("start", T0, queue_item=floor.queue(floor.nest(lines=[line])).pk)["run"]
    end = floor.arcs(T0 + SECOND, [30.0, 30.0, 12.0])
    floor.follow()
    floor.done("restart_at", end + 47 * MINUTE, contour=3, reason="power")
    end = floor.arcs(end + 48 * MINUTE, [30.0, 30.0])
    floor.follow()
    floor.done("inspect", end, piece="A-nozzle", pit_mm=0.4)
    floor.done("bench", end, line=str(line.pk), kind="dross", minutes=6)
    floor.done("finish", end + MINUTE, exceptions=[])
    run_all_waiting()
    assert list(Work.objects.exclude(error="").values_list("kind", "error")) == []
    variance = RunVariance.objects.get(run=Run.objects.get(pk=run))
    assert (variance.arcs, variance.arc_s) == (5, 132.0)
    assert abs(sum(variance.terms.values()) - (variance.elapsed_s - variance.planned_s)) < 1e-6
