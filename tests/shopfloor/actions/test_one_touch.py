"""What was one touch is one undo; trays and starts name their torch."""

from __future__ import annotations

import json
import uuid

import pytest

from shopfloor.models import Action, Fitting, Run, Torch
from shopfloor.people.badges import terminal_register
from shopfloor.terminal.board import board_of
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0


@pytest.fixture
def touched(floor):
    """A start and the note that a set was kept, by one touch of one screen."""
    touch = str(uuid.uuid4())
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk, touch=touch)
    floor.done("note", T0 + SECOND, text="Set kept: rush", touch=touch)
    return touch


def test_one_undo_takes_back_all_of_one_touch(floor, touched):
    last = Action.objects.latest("received_at")
    floor.done("undo", T0 + MINUTE, action=str(last.pk))
    assert set(Action.objects.exclude(kind="undo").values_list("state", flat=True)) == {"undone"}
    assert (Run.objects.get().state, Run.objects.get().note) == ("voided", "")


def test_what_another_screen_said_with_the_same_mark_stays(floor, touched):
    other = terminal_register(code="t2", name="another", table=floor.table)[0]
    floor.done("note", T0 + 2 * SECOND, terminal=other, text="mine", touch=touched)
    last = Action.objects.filter(terminal=floor.terminal).latest("received_at")
    if floor.do("undo", T0 + MINUTE, action=str(last.pk)).state == "applied":
        assert Action.objects.get(terminal=other).state == "applied"
    else:  # both wrote into one run's note: nothing of the touch is taken back by half
        assert Run.objects.get().state == "open"


def test_an_entry_of_its_own_is_taken_back_alone(floor):
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk)
    floor.done("note", T0 + SECOND, text="wet")
    last = Action.objects.latest("received_at")
    floor.done("undo", T0 + MINUTE, action=str(last.pk))
    assert Run.objects.get().state == "open"


@pytest.fixture
def two(floor):
    return Torch.objects.create(table=floor.table, code="2")


def keys(floor):
    board = board_of(table=floor.table, terminal=floor.terminal, person=floor.person, now=T0)
    return [(key.title, json.loads(key.payload)) for key in board["trays"]]


def test_a_tray_names_the_torch_it_goes_into(floor, two):
    floor.tray()
    assert keys(floor) == [
        ("Tray T-1 into torch 1", {"tray": "T-1", "torch": "1"}),
        ("Tray T-1 into torch 2", {"tray": "T-1", "torch": "2"}),
    ]
    floor.done("change_tray", T0, tray="T-1", torch="2")
    assert set(Fitting.objects.values_list("torch__code", flat=True)) == {"2"}


def test_with_one_torch_nothing_is_asked(floor):
    floor.tray()
    assert keys(floor) == [("Tray T-1", {"tray": "T-1", "torch": "1"})]


def test_a_start_goes_to_the_torch_it_names(floor, two):
    floor.done("start", T0, queue_item=floor.queue(floor.nest()).pk, torch="2")
    assert Run.objects.get().segments.get().torch == two
