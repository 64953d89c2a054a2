"""What a shop learns of its wear parts, kept in the background."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.utils import timezone

from planning.inputs.lives import given_of, learned_of
from planning.reports.openers import open_figure
from planning.reports.survival import learned_of_pieces, part_lives
from planning.reports.wear_due import due_times
from planning.services import lives
from planning.services.lives import life_write, lives_freshen
from planning.services.outlooks import KIND
from planning.services.piece_figures import piece_figures
from planning.services.work import run_all_waiting
from shopfloor.models import (
    Fitting,
    Inspection,
    PieceOutlook,
    PieceUse,
    SetPart,
    Shift,
    Summary,
    Work,
)
from shopfloor.runs.arcs import to_us
from shopfloor.runs.desk_queries import inspections
from telemetry.models import Arc
from tests.planning import cast

pytestmark = pytest.mark.django_db
BEGUN = datetime(2026, 10, 6, 17, tzinfo=UTC)


def _burnt(table, begun, starts):
    """Arcs of 3 s every 4 s, in no run."""
    feed = cast.feed(table, f"{table.code}-feed")
    spans = [cast.at(begun, 4 * n) for n in range(starts)]
    Arc.objects.bulk_create(
        Arc(
            key=f"{feed.name}|{to_us(on)}", feed=feed, table=table.code, torch="1", ended="off",
            on_us=to_us(on), off_us=to_us(on) + 3_000_000, feed_version=1, changed_us=1,
        )
        for on in spans
    )  # fmt: skip


def _gave(table, operator, starts, day, *, state="failed", cause="pit"):
    """An electrode that gave so many starts and came out."""
    begun = BEGUN + timedelta(days=day)
    piece = cast.piece("electrode", 1900, 600)
    stay = cast.fitting(piece, table, begun, by=operator)
    _burnt(table, begun, starts)
    stay.removed_at = cast.at(begun, 4 * starts)
    stay.removal_state, stay.removal_cause = state, cause
    stay.save()
    piece.state = state
    piece.save()
    piece_figures(key=str(piece.pk), payload={})
    return piece


def _learn():
    Work.objects.exclude(kind__in=(KIND, "piece")).delete()
    run_all_waiting()


def test_pieces_that_end_teach_what_is_left_of_the_next(north, operator):
    for day, starts in enumerate((40, 50, 60)):
        _gave(north, operator, starts, day)
    assert Work.objects.filter(kind=KIND, state="waiting").count() == 1
    now = cast.piece("electrode", 1900, 600)
    cast.fitting(now, north, BEGUN + timedelta(days=9), by=operator)
    piece_figures(key=str(now.pk), payload={})
    before = PieceOutlook.objects.get(piece=now)
    _learn()
    kept = Summary.objects.get(kind=KIND, key=str(now.part_id))
    assert kept.body["ends"] == 3
    after = PieceOutlook.objects.get(piece=now)
    # rated 600, but three gave 40 to 60
    assert before.starts_left > 400
    assert 40 < after.starts_left < 300
    assert after.left_low < after.starts_left < after.left_high
    assert after.rests_on["ends"] == 3


def test_nothing_is_learned_twice(north, operator):
    piece = _gave(north, operator, 30, 0)
    _learn()
    piece_figures(key=str(piece.pk), payload={})
    assert not Work.objects.filter(kind=KIND, state="waiting").exists()


def test_a_failure_taken_back_is_forgotten(north, operator):
    piece = _gave(north, operator, 30, 0)
    _learn()
    stay = piece.fittings.get()
    stay.removed_at, stay.removal_state, stay.removal_cause = None, "", ""
    stay.save()
    piece.state = "fitted"
    piece.save()
    piece_figures(key=str(piece.pk), payload={})
    _learn()
    assert learned_of([piece.part_id])[piece.part_id].ends == 0


def test_an_inspection_is_kept_with_the_age_it_was_made_at(north, operator):
    piece = cast.piece("electrode", 1900, 600)
    cast.fitting(piece, north, BEGUN, by=operator)
    _burnt(north, BEGUN, 50)
    Inspection.objects.create(piece=piece, at=cast.at(BEGUN, 4 * 20 - 1), by=operator, pit_mm=0.3)
    piece_figures(key=str(piece.pk), payload={})
    assert PieceOutlook.objects.get(piece=piece).pits == [[20, 60.0, 0.3]]
    _learn()
    [record] = learned_of([piece.part_id])[piece.part_id].records
    assert record.readings[0].pit_mm == 0.3


def test_a_piece_changed_with_its_partner_has_not_ended(north, operator):
    piece = _gave(north, operator, 30, 0, state="retired", cause="")
    _learn()
    learned = learned_of([piece.part_id])[piece.part_id]
    assert (len(learned.records), learned.ends) == (1, 0)


def test_a_piece_first_seen_with_an_age_enters_late_and_one_of_unknown_age_not_at_all(
    north, operator
):
    piece = cast.piece("electrode", 1900, 600)
    piece.prior_starts = 100
    piece.save()
    cast.fitting(piece, north, BEGUN, by=operator)
    _burnt(north, BEGUN, 10)
    Inspection.objects.create(piece=piece, at=cast.at(BEGUN, 60), by=operator, pit_mm=0.3)
    piece_figures(key=str(piece.pk), payload={})
    _learn()
    [record] = learned_of([piece.part_id])[piece.part_id].records
    assert (record.life.entered, record.life.age) == (100, 110)
    piece.prior_starts = None
    piece.save()
    piece_figures(key=str(piece.pk), payload={})
    Work.objects.all().delete()
    life_write(key=str(piece.part_id), payload={})
    assert learned_of([piece.part_id])[piece.part_id].records == ()


def test_a_shop_of_a_former_version_is_learned_of_once(north, operator):
    """Its outlooks have no pits, and nothing asks for its parts until a piece ends."""
    piece = _gave(north, operator, 40, 0)
    Inspection.objects.create(piece=piece, at=cast.at(BEGUN, 100), by=operator, pit_mm=0.9)
    PieceOutlook.objects.update(pits=[])
    Work.objects.all().delete()
    assert lives_freshen() == 1
    _learn()
    [record] = learned_of([piece.part_id])[piece.part_id].records
    assert [pit.pit_mm for pit in record.readings] == [0.9]
    assert lives_freshen() == 0
    Summary.objects.update(computed_at=timezone.now() - timedelta(hours=25))
    assert lives_freshen() == 1


def test_a_life_opens_down_to_its_pieces(north, operator):
    pieces = [_gave(north, operator, starts, day) for day, starts in enumerate((40, 50, 60))]
    _learn()
    found = open_figure(kind="life", id=str(pieces[0].part_id))
    opens = {part.opens.key: part.quantity.value for part in found.parts if part.opens}
    assert opens == {str(p.pk): n for p, n in zip(pieces, (40, 50, 60), strict=True)}
    assert found.parts[-1].quantity.value == 3
    now = cast.piece("electrode", 1900, 600)
    cast.fitting(now, north, BEGUN + timedelta(days=9), by=operator)
    piece_figures(key=str(now.pk), payload={})
    left = next(p for p in open_figure(kind="piece", id=str(now.pk)).parts if p.opens)
    assert left.opens == ("life", str(now.part_id))


def test_when_a_piece_ends_is_told_by_the_list_ahead(north, operator):
    """Nothing waits: after the queue. A run of 4 000 s with 50 starts of 20 left: 2/5 of it."""
    piece = cast.piece("electrode", 1900, 600)
    cast.fitting(piece, north, cast.NOON, by=operator)
    PieceOutlook.objects.create(
        piece=piece, starts=10, starts_left=20, left_low=10, left_high=200, computed_at=cast.NOON
    )
    assert due_times(now=cast.NOON)[piece.pk].likely is None
    revision = cast.nest(operator, [(None, 1e5, 20)] * 2)
    cast.run(revision, north, start=cast.NOON, operator=operator,
             plan={"total_s": 4000.0, "load_s": 0.0, "pierces": 50}, state="open")  # fmt: skip
    found = due_times(now=cast.NOON)[piece.pk]
    assert found.within == "N-1"
    assert found.likely == cast.at(cast.NOON, 1600)
    assert (found.first, found.last) == (cast.at(cast.NOON, 800), None)


def test_a_run_over_the_weekend_is_told_by_the_hours_of_its_shifts(north, operator):
    """A run of 16 h with 160 starts, opened on Friday 12:00; shifts are 06:00 to 14:00. On Monday
    at 08:00 12 h are left: 20 of its 120 starts are 2 h. After the shift it is overtime."""
    Shift.objects.exclude(name="early").delete()
    Shift.objects.update(weekdays="12345")
    friday, monday = (datetime(2026, 10, day, 17, tzinfo=UTC) for day in (9, 12))
    piece = cast.piece("electrode", 1900, 600)
    cast.fitting(piece, north, friday, by=operator)
    PieceOutlook.objects.create(
        piece=piece, starts=10, starts_left=20, left_low=10, left_high=60, computed_at=friday
    )
    revision = cast.nest(operator, [(None, 1e5, 20)] * 2)
    cast.run(revision, north, start=friday, operator=operator, seconds=None,
             plan={"total_s": 57_600.0, "load_s": 0.0, "pierces": 160}, state="open")  # fmt: skip
    at = monday - timedelta(hours=4)
    found = due_times(now=at)[piece.pk]
    assert (found.likely, found.last) == (at + timedelta(hours=2), at + timedelta(hours=6))
    after = monday + timedelta(hours=3)  # 15:00, when 6 h and 60 starts are left
    assert due_times(now=after)[piece.pk].likely == after + timedelta(hours=2)


def test_plans_go_by_what_pieces_give(north, operator):
    """Rated 600, three used up after 40, 50 and 60: (1200 + 150) / 5 = 270."""
    pieces = [_gave(north, operator, starts, day) for day, starts in enumerate((40, 50, 60))]
    part = pieces[0].part_id
    assert given_of([part]) == {}
    _learn()
    assert given_of([part])[part].starts == 270
    found = {one.label: one for one in open_figure(kind="life", id=str(part)).parts}
    assert found["Plans go by"].quantity.value == 270
    _gave(north, operator, 40, 5)
    _learn()
    kept = given_of([part])[part]
    assert kept.starts != pytest.approx(270)  # (1200 + 190) / 6 = 232
    assert kept.starts == pytest.approx(1390 / 6)
    # again one: (1200 + 430) / 7 = 233: within 5 %, the one in use stays
    _gave(north, operator, 240, 6)
    _learn()
    assert given_of([part])[part] == kept


def test_a_life_says_when_a_change_pays(north, operator):
    """The dearer a failure, the earlier the change and the more it saves."""
    pieces = [_gave(north, operator, starts, day) for day, starts in enumerate((40, 50, 60, 55))]
    SetPart.objects.update(rated_starts=50)
    _learn()
    found = open_figure(kind="life", id=str(pieces[0].part_id))
    ages = [one.quantity.value for one in found.parts if one.label.startswith("Change at")]
    assert len(ages) == 3
    assert ages[1] > ages[2]
    body = Summary.objects.get(kind=KIND, key=str(pieces[0].part_id)).body
    saved = [row[4] for row in body["change"]]
    assert 0 <= saved[0] < saved[1] < saved[2] < 1
    assert all(low <= age <= high for _times, age, low, high, _saved in body["change"][1:])


def test_how_many_still_burn_is_kept_with_its_range(north, operator):
    for day, starts in enumerate((40, 50, 60)):
        piece = _gave(north, operator, starts, day)
    _learn()
    life = part_lives(learned_of_pieces([piece.pk]))[piece.pk]
    assert (life.still.ends, life.still.pieces, life.still.now) == (3, 3, 60)
    steps = [(age, round(share, 3)) for age, share, _low, _high in life.still.steps]
    assert steps == [(40, 0.667), (50, 0.333), (60, 0.0)]
    ages = [row[0] for row in life.still.curve]
    assert (ages[0], ages == sorted(ages)) == (0, True)
    assert all(low <= share <= high for _age, share, low, high in life.still.curve)
    Summary.objects.filter(kind=KIND).update(body={"records": []})  # as a former version kept it
    assert part_lives(learned_of_pieces([piece.pk]))[piece.pk].still is None
    assert lives_freshen() == 1


@pytest.mark.django_db(transaction=True)
def test_nothing_is_locked_while_a_part_is_learned_of(north, operator, monkeypatch):
    piece, locked = cast.piece("electrode", 1900, 600), []

    def paying(*_told):
        locked.append(connection.in_atomic_block)
        return {"lacking": "failure"}

    monkeypatch.setattr(lives, "pays_body", paying)
    lives.lives_write([piece.part_id])
    assert locked == [False]
    assert Summary.objects.get(kind="life").body["pays"] == {"lacking": "failure"}


def test_what_another_learned_meanwhile_stays(north, operator, monkeypatch):
    piece, pays_body = cast.piece("electrode", 1900, 600), lives.pays_body

    def while_another(*told):
        monkeypatch.setattr(lives, "pays_body", pays_body)
        lives.lives_write([piece.part_id])
        Summary.objects.filter(kind="life").update(body={"newer": True})
        return pays_body(*told)

    monkeypatch.setattr(lives, "pays_body", while_another)
    lives.lives_write([piece.part_id])
    assert Summary.objects.get(kind="life").body == {"newer": True}
    Summary.objects.update(computed_at=timezone.now() + timedelta(days=9))  # the clock was wrong
    lives.lives_write([piece.part_id])
    assert "pays" in Summary.objects.get(kind="life").body


def test_a_pit_stands_at_the_starts_the_piece_had_then(north, operator):
    """100 before it was on record, runs of 7, 20 and 40: the last came after the look."""
    piece, other = cast.piece(prior_starts=100), cast.piece()
    revision = cast.nest(operator, [(None, 1e5, 20)])
    for hours, starts in ((0, 7), (5, 20), (6, 40)):
        run = cast.run(revision, north, start=cast.at(cast.NOON, hours * 3600), operator=operator)
        PieceUse.objects.create(run=run, piece=piece, at=cast.at(cast.NOON, hours * 3600),
                                starts=starts, arc_s=1.0, evidence="measured")  # fmt: skip
    for one, hours, pit_mm in (
        (piece, 5, 0.4),
        (other, 7, 0.2),
        (piece, -1, 0.1),
        (piece, 6, None),
    ):
        Inspection.objects.create(
            piece=one, at=cast.at(cast.NOON, hours * 3600), pit_mm=pit_mm, by=operator
        )
    seen = [(one.piece_id, one.starts, one.pit_mm) for one in inspections([piece.pk, other.pk])]
    assert seen == [(piece.pk, 100, 0.1), (piece.pk, 127, 0.4), (other.pk, 0, 0.2)]


def test_only_the_torch_asked_for_is_timed(north, operator):
    torch = north.torches.first()
    second = north.torches.create(code="2")
    for of in (torch, second):
        piece = cast.piece("electrode", 1900, 600)
        cast.fitting(piece, north, cast.NOON, by=operator)
        Fitting.objects.filter(piece=piece).update(torch=of)
        PieceOutlook.objects.create(
            piece=piece,
            starts=10,
            starts_left=20,
            left_low=10,
            left_high=200,
            computed_at=cast.NOON,
        )
    both = due_times(now=cast.NOON)
    assert due_times(now=cast.NOON, torch=second.pk) == {piece.pk: both[piece.pk]}
    assert len(both) == 2
