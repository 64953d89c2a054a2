from __future__ import annotations

import uuid

import pytest

from shopfloor.models import Fitting, Piece, Segment, SetPart, Work
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


def held(floor):
    rows = Fitting.objects.filter(removed_at=None, torch=floor.torch)
    return set(rows.values_list("piece__label", flat=True))


def test_one_scan_swaps_everything_and_the_old_pieces_keep_their_age(floor):
    floor.tray(label="A")
    floor.tray(label="B")
    floor.done("change_tray", T0, tray="A")
    result = floor.done("change_tray", T0 + MINUTE, tray="B")
    assert sorted(result["removed"]) == ["A-electrode", "A-nozzle"]
    assert held(floor) == {"B-electrode", "B-nozzle"}
    assert {p.state for p in Piece.objects.filter(tray__label="A")} == {"shelved"}
    floor.done("change_tray", T0 + 2 * MINUTE, tray="A", state="failed", reason="pit")
    assert held(floor) == {"A-electrode", "A-nozzle"}
    assert Fitting.objects.filter(piece__label="A-nozzle").count() == 2
    assert floor.do("change_tray", T0 + 3 * MINUTE, tray="B").state == "refused"
    assert held(floor) == {"A-electrode", "A-nozzle"}


def test_a_tray_scanned_twice_changes_nothing(floor):
    floor.tray(label="A")
    floor.done("change_tray", T0, tray="A")
    again = floor.done("change_tray", T0 + MINUTE, tray="A")
    assert (again["fitted"], again["removed"]) == ([], [])
    assert Fitting.objects.count() == 2


def test_a_piece_cannot_be_in_two_torches(floor):
    from shopfloor.models import Torch

    Torch.objects.create(table=floor.table, code="2")
    floor.tray(label="A")
    floor.done("change_tray", T0, tray="A", torch="1")
    refused = floor.do("change_piece", T0 + MINUTE, new="A-nozzle", torch="2")
    assert refused.state == "refused"
    assert "in a torch" in refused.result["message"]


def test_a_crash_takes_several_pieces_in_one_incident(floor):
    floor.tray(label="A")
    floor.done("change_tray", T0, tray="A")
    incident = str(uuid.uuid4())
    for label in ("A-electrode", "A-nozzle"):
        floor.done(
            "change_piece",
            T0 + MINUTE,
            old=label,
            state="crashed",
            incident=incident,
            reason="slug tipped up",
        )
    assert {str(f.incident) for f in Fitting.objects.all()} == {incident}
    assert {p.state for p in Piece.objects.all()} == {"crashed"}
    assert held(floor) == set()


def test_a_fresh_piece_comes_off_the_drawers_count(floor):
    floor.tray(label="A")
    floor.done("change_tray", T0, tray="A")
    part = SetPart.objects.get(kind="nozzle")
    asked = floor.do("change_piece", T0 + MINUTE, new_part=part.pk)
    assert (asked.state, asked.result["ask"]) == ("refused", "state")
    part.refresh_from_db()
    assert part.in_drawer == 3
    result = floor.done(
        "change_piece", T0 + MINUTE, new_part=part.pk, state="failed", reason="nick"
    )
    part.refresh_from_db()
    assert part.in_drawer == 2
    assert result["removed"] == "A-nozzle"
    fresh = Piece.objects.get(label=result["fitted"])
    assert (fresh.prior_starts, fresh.state, fresh.price_minor) == (0, "fitted", 1400)


def test_another_set_in_the_middle_of_a_run_begins_a_segment(floor):
    floor.tray(label="A")
    floor.tray(floor.fine, label="F")
    floor.done("change_tray", T0, tray="A")
    run = floor.done("start", T0 + MINUTE, queue_item=floor.queue(floor.nest()).pk)
    assert run["set_right"] is True
    end = floor.arcs(T0 + 2 * MINUTE, [30.0] * 2)
    floor.follow()
    result = floor.done("change_tray", end + MINUTE, tray="F")
    assert "fine 45 A is fitted" in result["questions"][0]
    floor.arcs(end + 2 * MINUTE, [30.0] * 2)
    floor.follow()
    first, second = Segment.objects.all()
    assert (first.wear_set, second.wear_set) == (floor.fast, floor.fine)
    assert (first.last_contour, second.first_contour, second.last_contour) == (2, 3, 4)


def test_a_new_piece_of_the_same_set_begins_no_segment(floor):
    floor.tray(label="A")
    floor.tray(label="B")
    floor.done("change_tray", T0, tray="A")
    floor.done("start", T0 + MINUTE, queue_item=floor.queue(floor.nest()).pk)
    floor.done("change_piece", T0 + 2 * MINUTE, new="B-nozzle", state="failed", reason="pit")
    assert Segment.objects.count() == 1
    assert held(floor) == {"A-electrode", "B-nozzle"}


@pytest.mark.parametrize(
    ("seen", "due"),
    [
        ({"pit_mm": 1.59}, False),
        ({"pit_mm": 1.6}, True),
        ({"orifice_round": True}, False),
        ({"orifice_round": False}, True),
        ({"pit_mm": 0.2, "orifice_round": False}, True),
        ({"note": "looked fine"}, None),
    ],
)
def test_a_piece_is_due_at_the_pit_limit_or_out_of_round(floor, seen, due):
    """1.6 mm (1/16 in) is the shop's default; common practice, no source."""
    floor.tray(label="A")
    result = floor.done("inspect", T0, piece="A-electrode", **seen)
    assert result["due"] is due
    assert Work.objects.filter(kind="piece").exists()


def test_the_makers_limit_goes_before_the_shops(floor):
    floor.tray(label="A")
    SetPart.objects.filter(kind="electrode").update(pit_limit_mm=1.0)
    assert floor.done("inspect", T0, piece="A-electrode", pit_mm=1.0)["due"] is True


def test_a_stopped_run_stays_stopped_through_a_change_of_set(floor):
    floor.tray(label="A")
    floor.tray(floor.fine, label="F")
    floor.done("change_tray", T0, tray="A")
    floor.done("start", T0 + SECOND, queue_item=floor.queue(floor.nest()).pk)
    floor.done("stop", T0 + MINUTE)
    floor.done("change_tray", T0 + 2 * MINUTE, tray="F")
    run = Segment.objects.first().run
    assert run.state == "stopped"
    floor.done("resume", T0 + 3 * MINUTE)
    run.refresh_from_db()
    assert (run.state, run.segments.count()) == ("open", 2)
