"""Failures against expectation, as they are worked out and kept, shown and opened."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from planning.reports.failures import failures_board
from planning.reports.openers import open_figure
from planning.services.failures import KEY, KIND, failures_freshen, failures_write
from planning.services.piece_figures import piece_figures
from planning.services.work import run_all_waiting
from shopfloor.models import AirReading, PieceUse, Summary, Work
from tests.planning import cast
from tests.planning.test_lives import _burnt

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def shop(north, operator):
    """Electrodes that failed one after the other: 60 starts each, 80, 70, 60, 50, 40 and 10 days
    ago; and one in the torch."""
    now = timezone.now().replace(microsecond=0)
    revision = cast.nest(operator, [(None, 1e5, 20)] * 2)
    found = []
    for place, days in enumerate((80, 70, 60, 50, 40, 10, 3)):
        begun = now - days * DAY
        piece = cast.piece("electrode", 1900, 60, label=f"E-{place}")
        stay = cast.fitting(piece, north, begun, by=operator)
        _burnt(north, begun, 60)
        made = cast.run(revision, north, start=begun, operator=operator, seconds=300)
        PieceUse.objects.create(
            run=made, piece=piece, at=begun, starts=60, arc_s=180, weights={"": 1.0},
            evidence="measured", known_starts=60,
        )  # fmt: skip
        if days > 3:
            _out(piece, stay, begun + timedelta(hours=1), "failed", "pit")
        piece_figures(key=str(piece.pk), payload={})
        found.append(piece)
    Work.objects.exclude(kind__in=("life", "piece", KIND)).delete()
    run_all_waiting()
    return found


def _out(piece, stay, at, state, cause, **more):
    stay.removed_at, stay.removal_state, stay.removal_cause = at, state, cause
    for name, value in more.items():
        setattr(stay, name, value)
    stay.save()
    piece.state = state
    piece.save()


def test_what_ends_is_counted_once_something_was_learned(shop):
    """Three must have ended before: those of 80, 70 and 60 days ago are left out."""
    board = failures_board()
    assert Summary.objects.get(kind=KIND).computed_at
    assert (len(board.failed_at), board.unsaid) == (3, 3)
    fortnight, month = board.looks
    assert (fortnight.days, fortnight.excess.seen) == (14, 1)
    assert 0.3 < fortnight.excess.expected < 3
    assert [week.expected for week in board.weeks[:3]] == [None] * 3
    assert month.excess.year == 1


def test_a_crash_is_no_failure_and_one_incident_is_one(shop, north, operator):
    now = timezone.now()
    one, other = uuid.uuid4(), now - timedelta(hours=5)
    for label, state, cause, more in (
        ("A", "failed", "pit", {"incident": one}), ("B", "failed", "nick", {"incident": one}),
        ("C", "crashed", "crash", {}), ("D", "retired", "pit", {"collateral": True}),
        ("F", "retired", "pit", {}),
    ):  # fmt: skip
        piece = cast.piece("electrode", 1900, 60, label=label)
        stay = cast.fitting(piece, north, now - timedelta(hours=9), other, by=operator)
        _out(piece, stay, other, state, cause, **more)
        piece.prior_starts = 20
        piece.save()
        piece_figures(key=str(piece.pk), payload={})
    failures_write(key=KEY, payload={})
    # the incident, and the one taken out for its pit, beside the failure ten days ago
    assert failures_board().looks[0].excess.seen == 3


def test_it_opens_down_to_the_pieces_and_to_the_lives(shop):
    found = open_figure(kind="failures", id="2")
    assert found.quantity.value == 1
    opens = [part.opens for part in found.parts if part.opens]
    assert opens == [("piece", str(shop[5].pk)), ("life", str(shop[0].part_id))]
    for key in ("3", "2:99", "x", ""):
        with pytest.raises(LookupError):
            open_figure(kind="failures", id=key)


def test_water_and_pressure_stand_by_week(shop, north, operator):
    now = timezone.now()
    read = [(1, "early", 600, False), (1, "early", 640, None), (1, "late", None, True)]
    for back, shift, kpa, drained in [*read, (9, "early", 500, False)]:
        at = now - back * DAY
        AirReading.objects.create(table=north, at=at, shift_date=at.date(), shift=shift,
                                  flowing_kpa=kpa, drained=drained, by=operator)  # fmt: skip
    last, before = failures_board().weeks[-1], failures_board().weeks[-2]
    assert (last.told, last.undrained, last.low_kpa, last.high_kpa) == (2, 1, 600, 640)
    assert (before.told, before.undrained) == (1, 1)
    assert failures_board().weeks[0].low_kpa is None


def test_it_is_worked_out_again_twice_a_day(shop):
    now = timezone.now()
    assert not failures_freshen(now=now + timedelta(hours=11))
    assert failures_freshen(now=now + timedelta(hours=13))
    assert Work.objects.filter(kind=KIND, key=KEY, state="waiting").count() == 1


def test_a_piece_of_unknown_age_is_left_out_and_said(shop):
    piece = shop[-1]
    piece.prior_starts = None
    piece.save()
    piece_figures(key=str(piece.pk), payload={})
    failures_write(key=KEY, payload={})
    assert failures_board().unknown == 1


def test_a_piece_just_fitted_is_not_of_unknown_age(shop, north, operator):
    cast.fitting(cast.piece("nozzle"), north, timezone.now(), by=operator)
    failures_write(key=KEY, payload={})
    assert failures_board().unknown == 0


def test_an_empty_shop_has_nothing_to_say(db):
    assert failures_board() is None
    failures_write(key=KEY, payload={})
    board = failures_board()
    assert (board.looks, board.failed_at) == ((), ())
    assert [week.expected for week in board.weeks] == [None] * 13
