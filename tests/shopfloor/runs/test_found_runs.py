"""A run nobody started: made from its arcs, completed at the desk."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from shopfloor.models import ArcAssignment, Fitting, PartResult, Piece, QueueItem, Run
from shopfloor.runs.desk import assign_arcs, unassign_arcs
from shopfloor.runs.queries import runs_set_aside
from shopfloor.runs.unassigned import unassigned_clusters
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0

HOUR = timedelta(hours=1)


def fit(floor, label, wear_set, start, end=None):
    """A whole tray in the torch from `start` to `end`."""
    for piece in Piece.objects.filter(tray=floor.tray(wear_set, label)):
        Fitting.objects.create(
            piece=piece, torch=floor.torch, fitted_at=start, removed_at=end, fitted_by=floor.person
        )


@pytest.fixture
def found(floor, supervisor):
    """Two arcs at noon with the fine set; the fast one went in an hour later."""
    fit(floor, "T-FINE", floor.fine, T0 - HOUR, T0 + HOUR)
    fit(floor, "T-FAST", floor.fast, T0 + HOUR)
    floor.made = floor.nest("N-1", contours=2, lines=[floor.line("J-1", 2)])
    floor.plate = floor.sheet("S-7", heat=floor.heat("H-7"))
    floor.item = floor.queue(floor.made, sheet=floor.plate)
    floor.arcs(T0, [30.0, 40.0])
    floor.follow()
    (loose,) = unassigned_clusters(floor.table, T0, T0 + HOUR)
    floor.given = assign_arcs(
        first_key=loose.keys[0], arcs=2, by=supervisor, now=T0 + 5 * HOUR, nest="N-1"
    )
    return Run.objects.get(pk=floor.given.run_id)


def test_it_has_the_set_and_the_sheet_of_then_and_is_over(floor, found):
    segment = found.segments.get()
    assert segment.wear_set == floor.fine
    assert segment.ended_at == T0 + 75 * SECOND  # 30 s, a pause of 5 s, 40 s
    assert found.sheet == floor.plate
    assert found.state == "stopped"
    assert not runs_set_aside().filter(pk=found.pk).exists()


def test_a_start_entered_late_takes_the_set_of_its_time(floor):
    fit(floor, "T-FINE", floor.fine, T0 - HOUR, T0 + HOUR)
    fit(floor, "T-FAST", floor.fast, T0 + HOUR)
    item = floor.queue(floor.nest())
    done = floor.done("start", T0, now=T0 + 2 * HOUR, queue_item=item.pk)
    assert Run.objects.get(pk=done["run"]).segments.get().wear_set == floor.fine


def test_arcs_given_to_a_run_with_another_set_keep_the_set_of_their_time(floor, supervisor):
    fit(floor, "T-FINE", floor.fine, T0 - HOUR, T0 + HOUR)
    fit(floor, "T-FAST", floor.fast, T0 + HOUR)
    floor.arcs(T0, [30.0])
    run = floor.done("start", T0 + 2 * HOUR, queue_item=floor.queue(floor.nest()).pk)["run"]
    floor.follow()
    (loose,) = unassigned_clusters(floor.table, T0, T0 + HOUR)
    assign_arcs(first_key=loose.keys[0], arcs=1, by=supervisor, now=T0 + 3 * HOUR, run_id=run)
    segments = Run.objects.get(pk=run).segments.order_by("started_at")
    assert [one.wear_set for one in segments] == [floor.fine, floor.fast]


def test_one_that_may_still_burn_stays_open(floor, supervisor):
    floor.nest("N-1", contours=4)
    end = floor.arcs(T0, [30.0] * 2)
    floor.follow()
    (loose,) = unassigned_clusters(floor.table, T0, T0 + HOUR)
    given = assign_arcs(
        first_key=loose.keys[0], arcs=2, by=supervisor, now=end + MINUTE, nest="N-1"
    )
    run = Run.objects.get(pk=given.run_id)
    assert (run.state, run.segments.get().ended_at) == ("open", None)


def test_it_can_be_taken_back_whole(floor, found, supervisor):
    unassign_arcs(keys=floor.given.keys, steps=floor.given.steps, by=supervisor, now=T0 + 5 * HOUR)
    found.refresh_from_db()
    floor.item.refresh_from_db()
    floor.plate.refresh_from_db()
    assert (found.state, floor.item.state, floor.plate.state) == ("voided", "waiting", "in_stock")
    assert not ArcAssignment.objects.exists()


def test_the_desk_names_counts_and_finishes_it(floor, found, supervisor, operator):
    page = Client()
    page.force_login(supervisor)
    address = f"/runs/{found.pk}/complete/"
    assert f'href="{address}"' in page.get(f"/runs/{found.pk}/").content.decode()
    line = floor.made.contours.first().line_id
    form = {
        f"set_{found.segments.get().pk}": floor.fast.pk,
        "sheet": floor.plate.pk, "heat": "H-7", "operator": operator.pk,
        f"good_{line}": 1, f"scrap_{line}": 1, f"cause_{line}": "bevel",
    }  # fmt: skip
    answer = page.post(address, form)
    assert answer.status_code == 302, answer.content.decode()
    found.refresh_from_db()
    segment = found.segments.get()
    assert (found.state, found.closed_at) == ("finished", T0 + 75 * SECOND)
    assert (segment.wear_set, segment.operator) == (floor.fast, operator)
    assert found.plan["wear_set"] == floor.fast.code
    assert sorted(PartResult.objects.values_list("outcome", "quantity")) == [
        ("good", 1), ("scrap", 1),
    ]  # fmt: skip
    assert QueueItem.objects.get().state == "done"
    floor.plate.refresh_from_db()
    assert floor.plate.state == "cut"
    again = page.post(address, form)
    assert "This run is finished already." in again.content.decode()
    assert PartResult.objects.count() == 2


def test_more_parts_than_the_sheet_holds_are_refused_and_nothing_is_kept(floor, found, supervisor):
    page = Client()
    page.force_login(supervisor)
    line = floor.made.contours.first().line_id
    form = {
        f"set_{found.segments.get().pk}": floor.fast.pk,
        f"good_{line}": 2, f"rework_{line}": 1,
    }  # fmt: skip
    body = page.post(f"/runs/{found.pk}/complete/", form).content.decode()
    assert "but the sheet holds 2." in body
    assert not PartResult.objects.exists()
    assert found.segments.get().wear_set == floor.fine


def test_an_old_nest_that_waits_nowhere_can_be_named(floor, supervisor):
    made = floor.nest("N-OLD", contours=2)
    made.nest.withdrawn_at = timezone.now()
    made.nest.save()
    floor.arcs(T0, [30.0] * 2)
    floor.follow()
    (loose,) = unassigned_clusters(floor.table, T0, T0 + HOUR)
    page = Client()
    page.force_login(supervisor)
    body = page.get("/today/arcs/", {"first": loose.keys[0]}).content.decode()
    assert '<option value="N-OLD">' in body
    page.post("/today/arcs/give/", {"first_key": loose.keys[0], "arcs": "2", "nest": "N-OLD"})
    assert Run.objects.get().revision == made
