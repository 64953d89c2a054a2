"""A failure is one incident: one piece failed of one cause, what was changed with it did not."""

from __future__ import annotations

import uuid
from importlib import import_module

import pytest
from django.apps import apps

from shopfloor.models import Fitting, Piece
from shopfloor.wear.endings import ending_words, failed_kind, life_end
from tests.shopfloor.floor_shop import MINUTE, T0


def ends(floor):
    """By kind of part: state, cause, collateral, and what it says of the life."""
    return {
        one.piece.part.kind: (
            one.piece.state,
            one.removal_cause,
            one.collateral,
            life_end(one.removal_state, collateral=one.collateral),
        )
        for one in Fitting.objects.select_related("piece__part")
    }


@pytest.fixture
def fitted(floor):
    floor.tray(label="A")
    floor.done("change_tray", T0, tray="A")
    return floor


def both_out(floor, **more):
    incident = str(uuid.uuid4())
    for kind, collateral in (("electrode", True), ("nozzle", False)):
        own = {"collateral": True} if collateral else {}
        floor.done("change_piece", T0 + MINUTE, old=f"A-{kind}", incident=incident, **own, **more)
    return incident


def test_a_partner_changed_with_the_one_that_failed_is_no_failure(fitted):
    incident = both_out(fitted, state="failed", cause="double_arc")
    assert ends(fitted) == {
        "electrode": ("retired", "double_arc", True, "collateral"),
        "nozzle": ("failed", "double_arc", False, "failed"),
    }
    assert {str(one.incident) for one in Fitting.objects.all()} == {incident}


def test_one_incident_has_one_failure_even_where_the_screen_told_of_two(fitted):
    incident = str(uuid.uuid4())
    for kind in ("electrode", "nozzle"):
        fitted.done(
            "change_piece", T0 + MINUTE, old=f"A-{kind}", state="failed", reason="pit",
            incident=incident,
        )  # fmt: skip
    assert ends(fitted) == {
        "electrode": ("failed", "pit", False, "failed"),
        "nozzle": ("retired", "pit", True, "collateral"),
    }


def test_a_tray_that_comes_out_for_a_failure_has_one_too(fitted):
    fitted.tray(label="B")
    fitted.done("change_tray", T0 + MINUTE, tray="B", state="failed", cause="out_of_round")
    out = Fitting.objects.exclude(removed_at=None)
    assert {one.piece.part.kind: one.removal_state for one in out} == {
        "electrode": "retired",
        "nozzle": "failed",
    }
    assert out.values("incident").distinct().count() == 1


def test_a_tray_that_failed_for_no_cause_is_asked_about(fitted):
    fitted.tray(label="B")
    asked = fitted.do("change_tray", T0 + MINUTE, tray="B", state="failed")
    assert (asked.state, asked.result["ask"]) == ("refused", "cause")
    assert not Fitting.objects.exclude(removed_at=None).exists()


def test_a_crash_is_its_own_cause_and_nobodys_wear(fitted):
    both_out(fitted, state="crashed")
    assert set(ends(fitted).values()) == {("crashed", "crash", False, "collateral")}


@pytest.mark.parametrize(
    "wrong",
    [{"state": "failed", "cause": "rust"}, {"state": "retired", "cause": "crash"}],
)
def test_a_cause_nobody_knows_or_that_is_a_crash_is_refused(fitted, wrong):
    assert fitted.do("change_piece", T0 + MINUTE, old="A-nozzle", **wrong).state == "refused"
    assert Piece.objects.get(label="A-nozzle").state == "fitted"


def test_words_of_an_older_page_become_a_cause(fitted):
    fitted.done("change_piece", T0 + MINUTE, old="A-nozzle", state="failed", reason="out of round")
    one = Fitting.objects.get(piece__label="A-nozzle")
    assert (one.removal_cause, one.removal_reason) == ("out_of_round", "")


def test_undo_takes_the_whole_ending_back(fitted):
    out = {"old": "A-nozzle", "state": "failed", "cause": "nick", "collateral": True}
    entry = fitted.do("change_piece", T0 + MINUTE, **out)
    assert ends(fitted)["nozzle"] == ("retired", "nick", True, "collateral")
    fitted.done("undo", T0 + 2 * MINUTE, action=str(entry.pk))
    assert ends(fitted)["nozzle"] == ("fitted", "", False, "running")


@pytest.mark.parametrize(
    ("kinds", "cause", "kind"),
    [
        (["electrode", "nozzle"], "double_arc", "nozzle"),
        (["electrode", "nozzle"], "pit", "electrode"),
        (["nozzle", "shield"], "pit", "nozzle"),  # no electrode came out: the first of the stack
        (["shield", "swirl_ring"], "blocked_hole", "swirl_ring"),
        (["shield", "nozzle"], "", "nozzle"),
        ([], "pit", None),
    ],
)
def test_a_cause_shows_on_one_kind(kinds, cause, kind):
    assert failed_kind(kinds, cause) == kind


@pytest.mark.parametrize(
    ("state", "collateral", "end"),
    [
        ("failed", False, "failed"),
        ("failed", True, "collateral"),
        ("retired", False, "planned"),
        ("retired", True, "collateral"),
        ("crashed", False, "collateral"),
        ("lost", False, "collateral"),
        ("shelved", False, "shelved"),
        ("", False, "running"),
    ],
)
def test_what_an_end_says_of_a_life(state, collateral, end):
    assert life_end(state, collateral=collateral) == end


def test_an_ending_in_words():
    assert ending_words("blocked_hole", "", collateral=False) == "blocked swirl hole"
    assert ending_words("", "slug tipped up", collateral=False) == "slug tipped up"
    assert ending_words("pit", "", collateral=True) == "changed with one that failed, pit"
    assert ending_words("", "", collateral=False) == ""


def test_what_older_versions_kept_is_read_as_it_was_meant(fitted):
    """Two pieces "failed" in one incident: the nozzle by its cause, the electrode with it."""
    step = import_module("shopfloor.migrations.0038_failure_causes")
    Fitting.objects.update(
        removed_at=T0 + MINUTE, removal_state="failed", removal_reason="out of round",
        incident=uuid.uuid4(),
    )  # fmt: skip
    step.fill(apps, None)
    rows = {one.piece.part.kind: one for one in Fitting.objects.select_related("piece__part")}
    assert {kind: one.collateral for kind, one in rows.items()} == {
        "electrode": True,
        "nozzle": False,
    }
    assert rows["nozzle"].removal_cause == "out_of_round"
    step.back(apps, None)
    assert set(Fitting.objects.values_list("removal_reason", flat=True)) == {"out of round"}
