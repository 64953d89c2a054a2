"""What a queue needs of wear parts, by what pieces give in this shop."""

from __future__ import annotations

import pytest
from django.urls import reverse

from shopfloor.models import Fitting, Piece, PieceOutlook, QueueItem, SetPart, Summary, Table
from shopfloor.wear.drawer import drawer
from shopfloor.wear.queue_need import queue_needs
from tests.shopfloor.floor_shop import T0


@pytest.fixture
def queued(floor):
    """Three sheets of 400 starts and 1 000 s each; a nozzle with 500 starts left is in the torch,
    rated 300."""
    floor.tray(label="A")
    part = SetPart.objects.get(wear_set=floor.fast, kind="nozzle")
    SetPart.objects.filter(pk=part.pk).update(rated_starts=300)
    piece = Piece.objects.get(label="A-nozzle")
    Fitting.objects.create(piece=piece, torch=floor.torch, fitted_at=T0, fitted_by=floor.person)
    PieceOutlook.objects.create(piece=piece, starts=100, starts_left=500, computed_at=T0)
    revision = floor.nest()
    revision.plans.update(pierces=400, total_s=900.0, load_s=100.0)
    for _ in range(3):
        floor.queue(revision)
    return revision


def _nozzle():
    return next(need for need in queue_needs() if need.part.kind == "nozzle")


def test_new_pieces_are_counted_by_what_one_gives_here(queued):
    """1 200 starts less 500: 700 are 3 of 300 as rated, 5 of the 150 that pieces have given."""
    assert (_nozzle().starts, _nozzle().needed) == (1200, 3)
    part = SetPart.objects.get(kind="nozzle")
    Summary.objects.create(
        kind="life", key=str(part.pk), body={"gives": [150.0, 4, 600]}, computed_at=T0
    )
    assert _nozzle().needed == 5
    [row] = [row for row in drawer(now=T0) if row.part.kind == "nozzle"]
    assert (row.needed, row.short) == (5, True)


def test_what_is_fitted_ends_within_a_nest_of_the_list(queued):
    """500 of 1 200 starts are a quarter into the second sheet: after 1 250 s of planned work."""
    assert (_nozzle().within, _nozzle().after_s) == ("N-1", pytest.approx(1250))
    queued.plans.update(total_s=None)
    assert (_nozzle().within, _nozzle().after_s) == ("", None)
    PieceOutlook.objects.update(starts_left=2000)
    queued.plans.update(total_s=900.0)
    assert (_nozzle().needed, _nozzle().within) == (0, "")


def test_what_nobody_knows_is_unknown_on_the_queues_page(queued, sign_in, planner):
    PieceOutlook.objects.update(starts_left=None)
    assert (_nozzle().left, _nozzle().needed) == (None, None)
    page = sign_in(planner).get(reverse("queue")).content.decode()
    assert "Wear parts it needs" in page
    assert "unknown" in page


def test_two_tables_that_share_a_drawer_are_short_together(queued, floor):
    """Three for the first, as above; the other table's 400 starts want two of 300."""
    SetPart.objects.filter(kind="nozzle").update(in_drawer=4)
    other = Table.objects.create(code="second", name="Second", order=2)
    plan = queued.plans.get()
    plan.pk, plan.table = None, other
    plan.save()
    QueueItem.objects.create(nest=queued.nest, table=other, position=1)
    needs = [need for need in queue_needs() if need.part.kind == "nozzle"]
    assert [(need.needed, need.wanted, need.short) for need in needs] == [
        (3, 5, True), (2, 5, True),
    ]  # fmt: skip
    SetPart.objects.filter(kind="nozzle").update(in_drawer=5)
    assert not any(need.short for need in queue_needs())
