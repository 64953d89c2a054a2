"""Measured amps against the set on record. fast-105 is fitted, the shop has a fine-45 too; a set is
run within 15 % of its own current (our assumption): 89.25 to 120.75 A for 105 A."""

from __future__ import annotations

from datetime import timedelta

import pytest

from shopfloor.runs.amps import current_mismatch
from shopfloor.runs.arcs import to_us
from shopfloor.wear.floor.torch_card import torch_of
from telemetry.models import Arc, CountedSpan
from tests.planning.swept import today_swept
from tests.shopfloor.floor_shop import MINUTE, T0


def burnt_at(floor, *amps, start=T0):
    for number, one in enumerate(amps):
        arc = floor.arc(start + number * MINUTE, 30.0)
        arc.amps = one
        arc.save()


@pytest.fixture
def fitted(floor):
    floor.tray(label="A")
    floor.done("change_tray", T0 - MINUTE, tray="A")
    return floor


NOW = T0 + 30 * MINUTE


def test_three_arcs_at_another_sets_current_raise_a_question(fitted, operator):
    burnt_at(fitted, 46.0, 44.0, 45.5)
    off = current_mismatch(fitted.torch, NOW)
    assert (off.amps, off.arcs, off.like, off.fitted) == (45.5, 3, fitted.fine, fitted.fast)
    words = torch_of(fitted.torch, None, NOW).amps_words
    assert words.startswith("The last 3 arcs burnt at about 46 A, as fine 45 A does; fast 105 A")
    assert words.endswith("Which set is in the torch?")
    (note,) = [one for one in today_swept(now=NOW).notes if one.head == "The amps say another set"]
    assert (note.kind, note.table) == ("now", "north")


@pytest.mark.parametrize(
    "amps", [(89.5, 105.0, 120.5), (45.0, 45.0), (None, None, None), (104.0, 45.0, 106.0)]
)
def test_amps_that_agree_or_say_too_little_raise_none(fitted, amps):
    burnt_at(fitted, *amps)
    assert current_mismatch(fitted.torch, NOW) is None


def test_amps_of_a_source_that_does_not_count_say_nothing(fitted):
    burnt_at(fitted, 46.0, 44.0, 45.5)
    begun = to_us(T0 + 2 * MINUTE)  # of the three arcs the third alone counts
    CountedSpan.objects.create(feed=Arc.objects.first().feed, from_us=begun)
    assert current_mismatch(fitted.torch, NOW) is None


def test_a_current_no_set_is_run_at_is_said_without_a_guess(fitted):
    burnt_at(fitted, 70.0, 70.0, 71.0)
    assert current_mismatch(fitted.torch, NOW).like is None
    assert "as " not in current_mismatch(fitted.torch, NOW).words


def test_what_burnt_before_the_change_or_half_a_day_ago_says_nothing(fitted):
    burnt_at(fitted, 45.0, 45.0, 45.0)
    assert current_mismatch(fitted.torch, NOW + timedelta(hours=13)) is None
    fitted.tray(label="B")
    fitted.done("change_tray", NOW, tray="B")
    assert current_mismatch(fitted.torch, NOW + MINUTE) is None
