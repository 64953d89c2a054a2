"""What a shift tells the next one: proposed from the records, kept as a person wrote it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planning.reports.hand_over import drafts
from planning.services.notes import notes_sweep
from shopfloor.errors import FloorError
from shopfloor.models import Change, HandOver, PartResult, QueueItem
from shopfloor.models import Shift as ShiftPattern
from shopfloor.notes.hand_overs import hand_over_write, hand_overs_left, latest_at, written_us
from tests.planning import cast
from tests.planning.test_today import SHIFT, _listening, _queue, half_burnt

__all__ = ["half_burnt"]
pytestmark = pytest.mark.django_db
NOW = cast.at(SHIFT, 3600)


def _write(table, by, text, seen_us=None, **more):
    asked = {"shift_date": SHIFT.date(), "shift": "early", "drafted": "d", "now": NOW} | more
    return hand_over_write(table_id=table.pk, text=text, seen_us=seen_us, by=by, **asked)


def test_the_draft_says_what_is_done_owed_stopped_next_and_wrong(half_burnt, north, operator):
    _listening(north, NOW)
    _, [line] = cast.job("J-2", quantity=20, due_at=SHIFT - timedelta(days=1))
    over = cast.run(
        cast.nest(operator, [(line, 1e4, 60)], name="N-0"), north, start=SHIFT, seconds=60
    )
    for outcome, quantity in (("good", 7), ("scrap", 1)):
        PartResult.objects.create(
            run=over, line=line, outcome=outcome, quantity=quantity, by=operator, at=NOW
        )
    cast.stoppage(half_burnt, cast.at(SHIFT, 2400), 600)
    for number in range(5):
        _queue(north, operator, total_s=600, name=f"Q-{number}")
    notes_sweep(now=NOW)
    found = drafts(NOW, inch=False)
    [draft] = found.drafts
    assert (found.shift, found.shift_date) == ("early", SHIFT.date())
    lines = draft.text.splitlines()
    assert lines[0] == "Done: 1 sheet of N-0, 7 good, 1 scrap."
    assert lines[1] == "On the table: N-1, contour 4 of 10."
    assert lines[2] == "Stops: no reason given 10 min."
    assert lines[3].startswith("Next: Q-0 with ")
    assert lines[3].endswith("; then 2 sheets.")
    assert "Late: J-2 owes 13 parts." in lines
    assert any(one.startswith("Look at: North was stopped 10 min from 06:40") for one in lines)


def test_sheets_of_one_nest_that_follow_each_other_are_said_once(half_burnt, north, operator):
    _listening(north, NOW)
    item = _queue(north, operator, total_s=600, name="Q-0")
    for position in (1, 2):
        QueueItem.objects.create(nest=item.nest, table=north, position=item.position + position)
    [draft] = drafts(NOW, inch=False).drafts
    next_line = next(line for line in draft.text.splitlines() if line.startswith("Next"))
    assert next_line.startswith("Next: 3 sheets of Q-0 with ")


def test_what_is_kept_says_who_wrote_it_and_when(north, operator, supervisor):
    assert _write(north, supervisor, "  \n ") is None
    row = _write(north, supervisor, "Gas is low.\n")
    assert (row.text, row.by, row.at) == ("Gas is low.", supervisor, NOW)
    later = NOW + timedelta(minutes=5)
    _write(north, operator, "Gas was changed.", written_us(row), now=later)
    [row] = HandOver.objects.all()
    assert (row.text, row.by, row.at) == ("Gas was changed.", operator, later)
    before = Change.objects.filter(table="shopfloor_handover", operation="update").get().old
    assert before["text"] == "Gas is low."


def test_who_saves_second_is_told(north, operator, supervisor):
    _write(north, supervisor, "one")
    with pytest.raises(FloorError, match="Dana Okell has written for North meanwhile"):
        _write(north, operator, "two")
    assert HandOver.objects.get().text == "one"


def test_a_second_press_is_no_other_writer(north, supervisor):
    first = _write(north, supervisor, "one")
    again = _write(north, supervisor, " one\n", now=NOW + timedelta(seconds=1))
    assert (again, again.at) == (first, NOW)


def test_a_text_too_long_is_refused(north, supervisor):
    with pytest.raises(FloorError, match="2001 letters"):
        _write(north, supervisor, "x" * 2001)


def test_the_next_shift_reads_it_and_the_one_after_that_does_not(north, supervisor):
    _write(north, supervisor, "Gas is low.")
    own = (SHIFT.date(), "early")
    since = NOW - timedelta(hours=16)
    until = NOW + timedelta(seconds=1)
    assert hand_overs_left(since, until, own) == []
    assert [row.text for row in hand_overs_left(since, until)] == ["Gas is low."]
    assert latest_at(north, since).text == "Gas is low."
    assert latest_at(north, until) is None


def test_between_shifts_it_is_of_the_one_that_has_just_ended(north):
    end = cast.at(SHIFT, 8 * 3600)
    assert drafts(end + timedelta(minutes=50), inch=False).shift == "early"
    assert drafts(end + timedelta(minutes=70), inch=False).shift == "late"
    ShiftPattern.objects.exclude(name="early").delete()
    assert drafts(end + timedelta(hours=5), inch=False).shift == "early"
    assert drafts(end + timedelta(hours=7), inch=False) is None
