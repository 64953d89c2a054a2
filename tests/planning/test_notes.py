"""Notes of Today: each opened once, ended once, and said to each reader in their words."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import translation

from planning.reports import today
from planning.reports.notes.reading import FRESH, notes_between
from planning.services import notes as service
from planning.services.notes import note_seen, notes_due, notes_sweep
from shopfloor.models import (
    PieceOutlook,
    Reason,
    ShopNote,
    Stoppage,
    TableDown,
)
from shopfloor.site.calendar import day_span
from telemetry.models import Health
from tests.planning import cast
from tests.planning.fitted import fitted
from tests.planning.swept import today_swept
from tests.planning.test_today import SHIFT, _listening, _queue, half_burnt

__all__ = ["half_burnt"]
pytestmark = pytest.mark.django_db
NOW = cast.at(SHIFT, 3600)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def stop(half_burnt, north):
    _listening(north, NOW)
    return cast.stoppage(half_burnt, cast.at(SHIFT, 2400), 600)


def _of(code):
    return list(ShopNote.objects.filter(code=code))


def test_a_note_is_opened_once_and_ended_once(stop):
    notes_sweep(now=NOW)
    notes_sweep(now=NOW + MINUTE)
    [note] = _of("stop")
    assert (note.began_at, note.found_at, note.ended_at) == (cast.at(SHIFT, 2400), NOW, None)
    Stoppage.objects.update(reason=_reason())
    notes_sweep(now=NOW + 2 * MINUTE)
    notes_sweep(now=NOW + 3 * MINUTE)
    [note] = _of("stop")
    assert note.ended_at == NOW + 2 * MINUTE


def test_what_comes_back_is_a_new_row(stop):
    notes_sweep(now=NOW)
    reason = _reason()
    Stoppage.objects.update(reason=reason)
    notes_sweep(now=NOW + MINUTE)
    Stoppage.objects.update(reason=None)
    notes_sweep(now=NOW + 7 * MINUTE)
    assert [note.ended_at for note in _of("stop")] == [NOW + MINUTE, None]


def test_what_comes_and_goes_is_one_row_with_the_names_on_it(stop, supervisor):
    reason = _reason()
    notes_sweep(now=NOW)
    note_seen(note_id=_of("stop")[0].pk, by=supervisor, now=NOW)
    for number in range(1, 7):
        Stoppage.objects.update(reason=reason if number % 2 else None)
        notes_sweep(now=NOW + number * MINUTE)
    [note] = _of("stop")
    assert (note.ended_at, [one["name"] for one in note.seen]) == (None, [supervisor.shown_name])


def test_a_note_of_long_ago_stands_on_the_days_it_is_open_and_ends(db):
    """A job six weeks late is still on the page of today, and on that of the day it went out."""
    zone = today_zone()
    start, end = day_span(NOW.date(), zone)
    values = {"job": "J-1", "customer": "C", "owes_parts": 2, "due_us": cast.to_us(NOW), "place": 0}
    began = {"code": "job_late", "values": values, "began_at": NOW - timedelta(days=45)}
    for subject, ended in (("1", None), ("2", NOW), ("3", NOW - timedelta(days=3))):
        ShopNote.objects.create(subject=subject, ended_at=ended, found_at=NOW, **began)
    found = notes_between(start, end, NOW, zone)
    assert sorted(str(one.ended_at) for one in found) == sorted([str(None), str(NOW)])


def test_of_two_sweeps_the_one_that_looked_last_holds(stop, monkeypatch):
    """The first one looked before the reason was given, and writes after the second."""
    seen_before = service.find_all(NOW)
    Stoppage.objects.update(reason=_reason())
    notes_sweep(now=NOW + MINUTE)
    monkeypatch.setattr(service, "find_all", lambda now: seen_before)
    notes_sweep(now=NOW)
    assert _of("stop") == []


def test_a_subject_has_one_open_note_and_any_number_that_ended(stop, north):
    """What the database itself holds two workers to."""
    row = {"code": "stop", "subject": "9", "began_at": NOW, "found_at": NOW}
    for _ in range(2):
        ShopNote.objects.create(**row, ended_at=NOW)
    ShopNote.objects.create(**row)
    ShopNote.objects.bulk_create([ShopNote(**row)], ignore_conflicts=True)
    assert ShopNote.objects.filter(subject="9", ended_at=None).count() == 1


def test_a_clock_set_back_stops_no_sweep(stop):
    notes_sweep(now=NOW + timedelta(hours=2))
    Stoppage.objects.update(reason=_reason())
    assert notes_due(now=NOW)
    [note] = _of("stop")
    assert note.ended_at == NOW


def test_it_looks_again_at_once_where_a_record_changed_else_each_half_minute(stop):
    second = timedelta(seconds=1)
    assert notes_due(now=NOW)
    assert not notes_due(now=NOW + 20 * second)
    job, _ = cast.job("J-9")
    assert job.pk
    assert not notes_due(now=NOW + 5 * second)  # not more often than that
    assert notes_due(now=NOW + 20 * second)
    assert notes_due(now=NOW + 50 * second)


def test_old_notes_are_not_shown_as_if_they_held(stop):
    [never] = today(now=NOW).notes
    assert (never.kind, never.head) == ("now", "Notes are not up to date")
    assert "the background work has not begun" in never.body
    notes_sweep(now=NOW)
    assert any(note.head == "A stop without a reason" for note in today(now=NOW + FRESH).notes)
    [stale] = today(now=NOW + FRESH + MINUTE).notes
    assert "was last looked for Tue 6 Oct 07:00" in stale.body


def test_no_sentence_is_kept_and_each_reader_has_their_own(stop):
    """Minutes run on without the sweep, and the language is the reader's."""
    Stoppage.objects.update(ended_at=None)
    notes_sweep(now=NOW)
    [row] = _of("stop")
    assert set(row.values) == {"stoppage", "from_us", "to_us"}
    [note] = [one for one in today(now=NOW + 2 * MINUTE).notes if one.head[:6] == "A stop"]
    assert "has been stopped 22 min from 06:40" in note.body  # 06:40 to 07:02
    with translation.override("xx"):
        assert today(now=NOW).notes


def test_the_notes_of_a_day_are_kept_with_who_saw_them(stop, supervisor):
    notes_sweep(now=NOW)
    [row] = _of("stop")
    for _ in range(2):
        note_seen(note_id=row.pk, by=supervisor, now=NOW)
    Stoppage.objects.update(reason=_reason())
    notes_sweep(now=NOW + MINUTE)
    zone = SHIFT.tzinfo
    start, end = day_span(NOW.date(), today_zone())
    [past] = [one for one in notes_between(start, end, NOW, zone) if one.note.head[:6] == "A stop"]
    assert (past.ended_at, past.seen) == (NOW + MINUTE, (supervisor.shown_name,))
    day = timedelta(days=1)
    later = [one.note.head for one in notes_between(start + day, end + day, NOW, zone)]
    assert "A stop without a reason" not in later


def today_zone():
    from zoneinfo import ZoneInfo

    from shopfloor.site.queries import shop_zone

    return ZoneInfo(shop_zone())


def test_a_table_that_stands_without_a_word_is_said_after_a_while(half_burnt, north, operator):
    """The last arc went out at 340 s; nobody says why for longer than the shop's five minutes."""
    early = cast.at(SHIFT, 600)
    _listening(north, early)
    assert "standing" not in {one.code for one in service.find_all(early)}
    late = cast.at(SHIFT, 340 + 300)
    Health.objects.update(beat_us=cast.to_us(late), last_byte_us=cast.to_us(late))
    [found] = [one for one in service.find_all(late) if one.code == "standing"]
    assert found.since_us == cast.to_us(cast.at(SHIFT, 340))
    TableDown.objects.create(table=north, started_at=late, ended_at=late + MINUTE, why="belt")
    codes = {one.code for one in service.find_all(late)}
    assert "standing" not in codes
    assert "down" in codes


def test_a_list_that_goes_back_to_a_set_is_said(north, operator):
    """Fast, fine, fast: moved up, the last one saves two changes."""
    fine = cast.wear_set("fine-45", "fine", 45.0)
    for number, wear_set in enumerate([None, fine, None]):
        item = _queue(north, operator, total_s=60, name=f"L-{number}")
        item.position = number
        item.save()
        if wear_set:
            item.nest.wear_set = wear_set
            item.nest.save()
    [note] = [one for one in today_swept(now=NOW).notes if one.head.startswith("The list goes")]
    assert "back to" in note.body
    assert "for L-2." in note.body


def test_a_piece_that_will_not_last_for_the_list_is_said(north, operator):
    """Fifty starts left, two sheets of thirty: not through the second."""
    from shopfloor.models import NestPlan

    piece = cast.piece("nozzle")
    cast.fitting(piece, north, SHIFT, by=operator)
    PieceOutlook.objects.create(
        piece=piece, starts=550, starts_left=50, due="no", basis="", computed_at=NOW
    )
    for number in range(2):
        item = _queue(north, operator, total_s=60, name=f"L-{number}")
        item.position = number
        item.save()
    NestPlan.objects.update(pierces=30)
    [note] = [one for one in today_swept(now=NOW).notes if one.head == "A piece will not last"]
    assert "about 50 starts left; the list wants 60 up to L-1" in note.body
    assert "most likely" not in note.body  # no range of what is left: no moment


def test_a_piece_that_ends_with_the_list_is_said_by_the_clock(north, operator):
    """Twenty starts left of a run of 4,000 s with 50, begun now: 1,600 s on, to five minutes."""
    revision = cast.nest(operator, [(None, 1e5, 80)] * 50)
    plan = {**cast.plan([80] * 50), "total_s": 4000.0, "load_s": 0.0, "pierces": 50}
    cast.run(revision, north, start=NOW, seconds=None, state="open", plan=plan)
    piece = cast.piece("electrode", 1900, 600)
    cast.fitting(piece, north, SHIFT, by=operator)
    PieceOutlook.objects.create(
        piece=piece, starts=580, starts_left=20, left_low=10, left_high=40, due="soon", basis="",
        computed_at=NOW,
    )  # fmt: skip
    [note] = [one for one in today_swept(now=NOW).notes if one.head == "A piece about due"]
    # Rounded up, so that what is said to come is never past already.
    at = -(-int(cast.at(NOW, 1600).timestamp()) // 300) * 300
    local = datetime.fromtimestamp(at, ZoneInfo("America/Chicago"))
    assert f"{local:%H:%M}." in note.body.split("cut in its order, that is most likely")[1]


def _reason():
    return Reason.objects.get_or_create(code="belt", defaults={"label": "Belt"})[0]


def test_a_table_that_changed_is_named_with_what_it_was_made_from(half_burnt, north, supervisor):
    since = int(cast.at(SHIFT, -5 * 86_400).timestamp())
    row = fitted(
        north, NOW,
        drift=[{"figure": "loading", "since": since, "noticed": since, "before": 300.0,
                "now": 390.0, "shifts_before": 31, "shifts": 4}],
    )  # fmt: skip
    notes_sweep(now=NOW)
    [note] = _of("drift")
    assert (note.table, note.ended_at) == (north, None)
    [said] = [one for one in today_swept(now=NOW).notes if one.head == "Loading takes longer"]
    body = str(said.body)
    assert "North is loaded in 6.5 min, 5.0 before." in body
    assert "held against 31 shifts before it" in body
    row.drift = []
    row.save()
    notes_sweep(now=NOW + MINUTE)
    assert _of("drift")[0].ended_at == NOW + MINUTE
