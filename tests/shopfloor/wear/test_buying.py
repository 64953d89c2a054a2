"""Parts bought, each at its price; the drawer against lists, orders and use."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shopfloor.audit.undo_record import UndoRecord, undo_steps
from shopfloor.chart.parts import part_share
from shopfloor.chart.services import part_set
from shopfloor.models import (
    ChartRow,
    Fitting,
    Job,
    PartOrder,
    PartReceipt,
    Piece,
    SetPart,
    Torch,
    User,
    Work,
)
from shopfloor.people.rights import CHART, COST, PLAN, may
from shopfloor.wear.buying import Bought, order_end, part_order, parts_receive, read_receipt
from shopfloor.wear.drawer import drawer
from shopfloor.wear.pieces import piece_from_drawer
from shopfloor.wear.plate_to_buy import plates_to_buy
from tests.shopfloor.floor_shop import T0

DAY = date(2026, 6, 1)


@pytest.fixture
def nozzle(floor):
    floor.tray(label="A")
    return SetPart.objects.get(wear_set=floor.fast, kind="nozzle")  # three at 14.00


def receive(floor, part, quantity, price=None):
    return parts_receive(bought=[Bought(part, quantity, price)], day=DAY, by=floor.person)


def prices(part, times):
    return [piece_from_drawer(part=part).price_minor for _ in range(times)]


def test_what_lay_there_keeps_its_price_and_goes_first(floor, nozzle):
    receive(floor, nozzle, 2, 1650)
    receive(floor, nozzle, 1, 1700)
    nozzle.refresh_from_db()
    assert (nozzle.in_drawer, nozzle.price_minor) == (6, 1700)
    assert prices(nozzle, 7) == [1400, 1400, 1400, 1650, 1650, 1700, 1700]
    nozzle.refresh_from_db()
    assert nozzle.in_drawer == 0
    assert not PartReceipt.objects.filter(left__gt=0).exists()


def test_a_drawer_counted_down_has_lost_its_oldest(floor, nozzle):
    receive(floor, nozzle, 2, 1650)
    part_set(wear_set=floor.fast, kind="nozzle", name="nozzle", price_minor=1650, in_drawer=2)
    assert prices(nozzle, 2) == [1650, 1650]


def test_a_drawer_counted_up_gives_what_no_receipt_knows_first(floor, nozzle):
    receive(floor, nozzle, 2, 1650)
    SetPart.objects.filter(pk=nozzle.pk).update(in_drawer=6, price_minor=1800)
    assert prices(nozzle, 2) == [1800, 1400]


def test_a_piece_taken_and_put_back_leaves_the_receipt_as_it_was(floor, nozzle):
    receive(floor, nozzle, 2, 1650)
    record = UndoRecord()
    piece_from_drawer(part=nozzle, undo_record=record)
    undo_steps(record.steps, undo_record=UndoRecord(), stamp={})
    nozzle.refresh_from_db()
    assert nozzle.in_drawer == 5
    assert list(PartReceipt.objects.values_list("quantity", "left")) == [(3, 3), (2, 2)]


def test_what_comes_meets_the_oldest_order(floor, nozzle):
    orders = [
        part_order(part=nozzle, quantity=5, day=DAY, by=floor.person, expected_on=when)
        for when in (None, DAY + timedelta(days=4))
    ]
    receive(floor, nozzle, 7)
    assert [PartOrder.objects.get(pk=one.pk).received for one in orders] == [5, 2]
    row = next(one for one in drawer(now=T0) if one.part == nozzle)
    assert (row.on_order, row.expected_on, row.position) == (3, DAY + timedelta(days=4), 13)
    order_end(order=orders[1], at=T0)
    assert next(one for one in drawer(now=T0) if one.part == nozzle).on_order == 0


@pytest.mark.parametrize(
    "wrong", [{"quantity": 0}, {"quantity": 5, "expected_on": DAY - timedelta(days=1)}]
)
def test_an_order_that_cannot_be_is_refused(floor, nozzle, wrong):
    with pytest.raises(ValidationError):
        part_order(part=nozzle, day=DAY, by=floor.person, **wrong)


def test_a_part_of_two_sets_is_one_part(floor, nozzle):
    floor.tray(floor.fine, label="F")
    other = SetPart.objects.get(wear_set=floor.fine, kind="nozzle")
    part_share(part=other, same_as=nozzle)
    other.refresh_from_db()
    assert (other.in_drawer, other.name) == (6, nozzle.name)
    receive(floor, other, 2, 1500)  # bought for either
    receipts = PartReceipt.objects.values_list("part", flat=True)
    assert set(receipts) == {nozzle.pk}
    assert piece_from_drawer(part=other).part == other
    counts = SetPart.objects.filter(kind="nozzle").values_list("in_drawer", "price_minor")
    assert set(counts) == {(7, 1500)}
    [row] = [one for one in drawer(now=T0) if one.part.kind == "nozzle"]
    assert row.sets == ["fast 105 A", "fine 45 A"]
    part_set(wear_set=floor.fine, kind="nozzle", name="N", price_minor=1600, in_drawer=5)
    nozzle.refresh_from_db()
    assert (nozzle.name, nozzle.price_minor, nozzle.in_drawer) == ("N", 1600, 5)


def test_a_part_is_not_shared_with_itself_or_another_kind(floor, nozzle):
    electrode = SetPart.objects.get(wear_set=floor.fast, kind="electrode")
    for same_as in (nozzle, electrode):
        with pytest.raises(ValidationError, match="same kind in another set"):
            part_share(part=nozzle, same_as=same_as)


def test_a_list_is_taken_whole_or_with_each_fault_named(floor, nozzle):
    good = b"set;kind;quantity;price\nfast-105;nozzle;10;15.20\nFAST-105;electrode;12;\n"
    found, faults = read_receipt(good)
    assert faults == []
    assert [(one.part.kind, one.quantity, one.price_minor) for one in found] == [
        ("nozzle", 10, 1520),
        ("electrode", 12, None),
    ]
    bad = b"set,kind,quantity,price\nfast-105,nozzle,ten,1\nfast-105,hose,1,1\nx,nozzle,1,dear\n"
    found, faults = read_receipt(bad)
    assert found == []
    assert [fault.line for fault in faults] == [2, 3, 4]


def test_the_lists_need_is_counted_by_what_is_left(floor, nozzle):
    """Two sheets of 400 planned starts at 300 a nozzle, nothing in the torch: three of them; the
    electrode's life is unknown, so its need is."""
    SetPart.objects.filter(pk=nozzle.pk).update(rated_starts=300)
    revision = floor.nest()
    revision.plans.update(pierces=400)
    for _ in range(2):
        floor.queue(revision)
    rows = {row.part.kind: row for row in drawer(now=T0)}
    assert (rows["nozzle"].needed, rows["nozzle"].short) == (3, False)
    assert rows["nozzle"].need_by is None  # neither a job nor the queue names a day
    line = floor.line()
    line.job.due_at = T0 + timedelta(days=3)
    line.job.save()
    revision.contours.update(line=line)
    dated = {row.part.kind: row.need_by for row in drawer(now=T0)}
    assert dated["nozzle"] == T0 + timedelta(days=3)
    assert rows["electrode"].needed is None
    revision.plans.update(pierces=None)
    assert {row.needed for row in drawer(now=T0)} == {None}


def test_use_gives_the_reorder_point_once_the_lead_time_is_known(floor, nozzle):
    """One new nozzle a week for five weeks, and the same one refitted: it is used once."""
    SetPart.objects.filter(pk=nozzle.pk).update(lead_days=7)
    for week in range(5):
        at = T0 + timedelta(weeks=week)
        out = {"state": "failed", "cause": "nick"} if week else {}
        floor.done("change_piece", at, new_part=nozzle.pk, **out)
    now = T0 + timedelta(weeks=4, days=8)
    row = next(one for one in drawer(now=now) if one.part.pk == nozzle.pk)
    assert (row.used, row.weeks) == (4, 5)
    assert row.found is not None
    assert row.found.per_week == 0.8  # the first lies six weeks back
    assert row.buy > 0


def test_use_is_counted_by_whole_weeks_back(floor, nozzle, monkeypatch):
    """Held against a plain count, a second about each border."""
    at = [0, 1, 6, 7, 8, 13, 14, 90, 91, 92]
    now = T0 + timedelta(days=200)
    for days in at:
        for second in (-1, 0, 1):
            piece = Piece.objects.create(label=f"P{days}.{second}", part=nozzle, price_minor=1)
            Fitting.objects.create(
                piece=piece, torch=Torch.objects.first(), fitted_by=User.objects.first(),
                fitted_at=now - timedelta(days=days, seconds=second), removed_at=now,
            )  # fmt: skip
    seen = []
    monkeypatch.setattr("shopfloor.wear.drawer.reorder", lambda used, lead: seen.append(used))
    SetPart.objects.filter(pk=nozzle.pk).update(lead_days=7)
    drawer(now=now)
    ages = [timedelta(days=days, seconds=second) for days in at for second in (-1, 0, 1)]
    weeks = [age // timedelta(weeks=1) for age in ages]
    assert seen == [[weeks.count(week) for week in range(len(seen[0]))]]


def test_pages_receive_order_and_list_what_to_buy(floor, nozzle, client, planner, owner):
    client.force_login(planner)
    sent = {"received_on": "2026-06-01", "encoding": "utf-8"}
    listed = "set\tkind\tquantity\tprice\nfast-105\tnozzle\t4\t15.00"
    assert client.post(reverse("parts_receive"), sent | {"listed": listed}).status_code == 302
    nozzle.refresh_from_db()
    assert (nozzle.in_drawer, nozzle.price_minor) == (7, 1500)
    both = sent | {"listed": listed, "part": nozzle.pk, "quantity": 1}
    assert (
        "Give one part, or one list."
        in client.post(reverse("parts_receive"), both).content.decode()
    )
    wrong = client.post(reverse("parts_receive"), sent | {"listed": "set,kind,quantity\nx,y,1"})
    assert "there is no y of set" in wrong.content.decode()
    ordered = {"part": nozzle.pk, "quantity": 3, "expected_on": "", "note": ""}
    assert client.post(reverse("part_order"), ordered).status_code == 302
    assert PartOrder.objects.get().quantity == 3
    SetPart.objects.update(in_drawer=0)
    assert nozzle.name in client.get(reverse("purchase")).content.decode()
    client.force_login(owner)
    assert "15.00" in client.get(reverse("parts")).content.decode()


def test_who_may_not_see_costs_sets_no_price_by_a_list(floor, nozzle, client, supervisor):
    assert may(supervisor, PLAN)
    assert not may(supervisor, COST, CHART)
    client.force_login(supervisor)
    sent = {"received_on": "2026-06-01", "encoding": "utf-8"}
    priced = {"listed": "set,kind,quantity,price\nfast-105,nozzle,4,15.00"}
    said = client.post(reverse("parts_receive"), sent | priced).content.decode()
    assert "leave their column out" in said
    nozzle.refresh_from_db()
    assert (nozzle.in_drawer, nozzle.price_minor) == (3, 1400)
    counted = {"listed": "set,kind,quantity\nfast-105,nozzle,4"}
    assert client.post(reverse("parts_receive"), sent | counted).status_code == 302


def test_another_price_asks_for_plans_anew_and_another_count_does_not(floor, nozzle):
    revision = floor.nest()
    ChartRow.objects.create(
        wear_set=floor.fast, material=revision.nest.material, thickness_mm=10.0,
        thickness_text="10 mm", speed_mm_min=2000.0, pierce_delay_s=0.5, valid_from=T0,
    )  # fmt: skip
    Work.objects.all().delete()
    receive(floor, nozzle, 2)
    assert not Work.objects.filter(kind="nest").exists()
    receive(floor, nozzle, 2, 1650)
    assert Work.objects.filter(kind="nest", key=str(revision.pk)).exists()


def test_who_asked_to_be_warned_below_a_count_is_whatever_use_says(floor, nozzle):
    """Nothing used in weeks on record; two are asked for and one lies there."""
    SetPart.objects.filter(pk=nozzle.pk).update(lead_days=7, low_at=2, in_drawer=1)
    floor.done("change_piece", T0, new_part=SetPart.objects.exclude(kind="nozzle").first().pk)
    [row] = [one for one in drawer(now=T0 + timedelta(weeks=6)) if one.part.pk == nozzle.pk]
    assert row.found is not None
    assert row.found.point == 0
    assert (row.low, row.buy) == (True, 2)


def test_parts_are_needed_when_the_job_is_due_where_the_list_says_nothing(floor, nozzle):
    revision = floor.nest(lines=[floor.line()])
    revision.plans.update(pierces=10)
    floor.queue(revision)
    Job.objects.update(due_at=T0)
    SetPart.objects.filter(pk=nozzle.pk).update(rated_starts=1)
    [row] = [one for one in drawer(now=T0) if one.part.pk == nozzle.pk]
    assert row.need_by == T0


def test_the_floors_people_see_no_prices(floor, nozzle, client, operator):
    client.force_login(operator)
    for name in ("parts", "purchase"):
        assert "14.00" not in client.get(reverse(name)).content.decode()


def test_plate_stands_beside_with_its_size_and_day(floor, nozzle):
    revision = floor.nest()
    revision.nest.sheet_length_mm, revision.nest.sheet_width_mm = 3048.0, 1524.0
    revision.nest.save()
    item = floor.queue(revision)
    item.due_at = T0
    item.save()
    [plate] = plates_to_buy(inch=True)
    assert (plate.sheets, plate.size, plate.need_by) == (1, "120.0 x 60.0 in", T0)
