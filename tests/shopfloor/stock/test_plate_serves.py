"""Which plate serves a nest: the office and the terminal say the same."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from shopfloor.nests.floor import queue_card as items
from shopfloor.nests.queries import sheets_for
from shopfloor.nests.queue import queue_add
from tests.shopfloor.floor_shop import MINUTE, T0


@pytest.fixture
def revision(floor):
    """6 mm, 2,000 mm along X and 900 mm along Y."""
    made = floor.nest()
    made.extents_mm = [10, 20, 2010, 920]
    made.save()
    return made


PLATES = [
    # length, width, thickness: does it serve?
    (3000, 1500, 6.0, True),
    (900, 2000, 6.0, True),  # turned
    (1996, 900, 6.0, True),  # measured by hand
    (1990, 1500, 6.0, False),
    (3000, 890, 6.0, False),
    (3000, 1500, 6.35, True),  # 1/4 in
    (3000, 1500, 8.0, False),
]


@pytest.mark.parametrize(("length", "width", "thick", "serves"), PLATES)
def test_office_and_terminal_judge_a_plate_alike(floor, revision, length, width, thick, serves):
    sheet = floor.sheet(length_mm=length, width_mm=width)
    sheet.thickness_mm = thick
    sheet.save()
    nest = revision.nest
    assert [one.pk for one in sheets_for(nest)] == ([sheet.pk] if serves else [])
    assert [one.code for one in items.sheets_for(nest)] == (["S-1"] if serves else [])
    started = floor.do("start", T0, revision=revision.pk, sheet="S-1")
    assert (started.state == "applied") is serves, started.result
    sheet.refresh_from_db()
    sheet.state = "in_stock"
    sheet.save()
    if serves:
        assert queue_add(nest=nest, table=floor.table, sheet=sheet).sheet == sheet
    else:
        assert started.result["ask"] == "swap_reason"
        with pytest.raises(ValidationError, match="S-1 is"):
            queue_add(nest=nest, table=floor.table, sheet=sheet)


def test_a_plate_too_small_goes_in_with_its_reason(floor, revision):
    """The operator has measured it: what the books call too small is taken with a reason."""
    floor.sheet(length_mm=1990, width_mm=900)
    told = floor.done(
        "start", T0, revision=revision.pk, sheet="S-1", swap_reason="supervisor said so"
    )
    assert "the nest takes 2000 x 900 mm" in told["questions"][0]


def test_a_plan_that_grew_past_its_sheet_asks_before_it_starts(floor, revision):
    """The sheet was promised to the revision before; the newest is larger."""
    item = floor.queue(revision, floor.sheet(length_mm=1500))
    asked = floor.do("start", T0, queue_item=item.pk)
    assert (asked.state, asked.result["ask"]) == ("refused", "swap_reason")
    taken = floor.do("start", T0 + MINUTE, queue_item=item.pk, swap_reason="supervisor said so")
    assert taken.state == "applied"


def test_a_sheet_promised_elsewhere_is_not_offered_at_the_table(floor, revision):
    floor.queue(floor.nest("N-2"), floor.sheet())
    assert items.sheets_for(revision.nest) == []
