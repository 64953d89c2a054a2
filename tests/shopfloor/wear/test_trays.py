"""Trays made up from the drawer."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shopfloor.models import Piece, PieceState, SetPart, Tray, WearSet
from shopfloor.wear.trays import tray_make_up


@pytest.fixture
def fine(shop):
    made = WearSet.objects.create(code="F45", duty="fine", current_a=45)
    for kind in ("electrode", "nozzle"):
        SetPart.objects.create(
            wear_set=made, kind=kind, name=f"F45 {kind}", price_minor=900, in_drawer=3
        )
    return made


def drawer(wear_set):
    return dict(wear_set.parts.values_list("kind", "in_drawer"))


def test_a_tray_takes_one_of_each_kind_off_the_drawer(fine):
    tray = tray_make_up(wear_set=fine, label=" T-1 ")
    assert tray.label == "T-1"
    assert sorted(tray.pieces.values_list("part__kind", flat=True)) == ["electrode", "nozzle"]
    assert drawer(fine) == {"electrode": 2, "nozzle": 2}


def test_filling_it_up_again_replaces_only_what_is_spent(fine):
    tray = tray_make_up(wear_set=fine, label="T-1")
    spent = tray.pieces.get(part__kind="electrode")
    Piece.objects.filter(pk=spent.pk).update(state=PieceState.RETIRED)
    tray_make_up(wear_set=fine, label="T-1")
    assert tray.pieces.count() == 2
    assert not tray.pieces.filter(pk=spent.pk).exists()
    assert drawer(fine) == {"electrode": 1, "nozzle": 2}
    tray_make_up(wear_set=fine, label="T-1")
    assert drawer(fine) == {"electrode": 1, "nozzle": 2}


def test_a_tray_of_another_set_a_blank_label_and_an_unknown_set_are_refused(fine):
    tray_make_up(wear_set=fine, label="T-1")
    bare = WearSet.objects.create(code="P100", duty="fast", current_a=100)
    for wear_set, label, words in (
        (bare, "T-1", "is a tray of fine 45 A"),
        (fine, "  ", "needs a label"),
        (bare, "T-2", "add them first"),
    ):
        with pytest.raises(ValidationError, match=words):
            tray_make_up(wear_set=wear_set, label=label)
    assert Tray.objects.count() == 1


def test_the_page_makes_one_up(fine, client, operator):
    client.force_login(operator)
    answer = client.post(reverse("tray_make", args=[fine.pk]), {"label": "T-9"}, follow=True)
    assert "Tray T-9 is made up." in answer.content.decode()
    assert Tray.objects.get().pieces.count() == 2
