"""What runs pay for a wear part: worked examples of common practice, no source."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.db.models import Sum

from planning.reports.openers import open_figure
from planning.services.months import MonthError, month_close
from planning.services.piece_figures import piece_figures
from planning.services.run_figures import run_figures
from shopfloor.models import Month, PieceOutlook, Posting, Work
from tests.planning import cast

pytestmark = pytest.mark.django_db

OCTOBER = datetime(2026, 10, 6, 17, tzinfo=UTC)
AFTER = datetime(2026, 11, 2, tzinfo=UTC)
NOVEMBER = datetime(2026, 11, 10, 18, tzinfo=UTC)


def _burn(revision, table, start, starts, **more):
    run = cast.run(revision, table, start=start, seconds=starts * 4, **more)
    cast.arcs(run, [(4 * n, 4 * n + 2, 1) for n in range(starts)], start=start)
    run_figures(key=str(run.pk), payload={})
    return run


def _sum(**where):
    return Posting.objects.filter(**where).aggregate(all=Sum("amount_minor"))["all"]


@pytest.fixture
def refitted(north, operator, owner):
    """An electrode of $19, rated 600 starts: 300 in October, that month closed, shelved, put back
    and failed after 250 more in November.

    While it lives: 300/600 x 19.00 = 9.50. It gave 550 starts, so a start was 19.00/550:
    November 250 x 19/550 = 8.636 -> 8.64; October 300 x 19/550 = 10.364 -> 10.36, of which 9.50 is
    in the closed month and 0.86 is posted in November. 9.50 + 0.86 + 8.64 = 19.00.
    """
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e6, 2)])
    piece = cast.piece("electrode", 1900, 600)
    first_stay = cast.fitting(piece, north, OCTOBER, by=operator)
    october = _burn(revision, north, OCTOBER, 300)
    assert _sum() == 950
    month_close(first_day=date(2026, 10, 1), by=owner, now=AFTER)
    first_stay.removed_at, first_stay.removal_state = cast.at(OCTOBER, 3000), "shelved"
    first_stay.save()
    second_stay = cast.fitting(piece, north, NOVEMBER, by=operator)
    november = _burn(revision, north, NOVEMBER, 250)
    second_stay.removed_at, second_stay.removal_state = cast.at(NOVEMBER, 3000), "failed"
    second_stay.save()
    piece.state = "failed"
    piece.save()
    return piece, october, november


def test_a_refitted_piece_is_charged_its_price_and_the_closed_month_is_left_alone(refitted):
    piece, october, november = refitted
    before = list(Posting.objects.filter(month__first_day=date(2026, 10, 1)).values())
    printed = Month.objects.get(first_day=date(2026, 10, 1)).printed
    piece_figures(key=str(piece.pk), payload={})
    assert list(Posting.objects.filter(month__first_day=date(2026, 10, 1)).values()) == before
    assert Month.objects.get(first_day=date(2026, 10, 1)).printed == printed
    open_month = Posting.objects.filter(month__first_day=date(2026, 11, 1))
    assert open_month.filter(run=november).aggregate(all=Sum("amount_minor"))["all"] == 864
    late = open_month.get(belongs_to__first_day=date(2026, 10, 1))
    assert (late.run_id, late.amount_minor) == (october.pk, 86)
    opened = open_figure(kind="posting", id=str(late.pk))
    found = {part.label: part.quantity.number for part in opened.parts}
    assert (found["Was"], found["Is now"]) == (950, 1036)
    assert _sum(piece=piece) == 1900


def test_its_age_runs_on_through_the_drawer(refitted):
    piece, *_ = refitted
    piece_figures(key=str(piece.pk), payload={})
    outlook = PieceOutlook.objects.get(piece=piece)
    assert outlook.starts == 550
    assert outlook.arc_s == pytest.approx(1100)


def test_repeating_the_true_up_posts_nothing(refitted):
    piece, october, november = refitted
    piece_figures(key=str(piece.pk), payload={})
    rows = Posting.objects.count()
    for run in (october, november):
        run_figures(key=str(run.pk), payload={})
    piece_figures(key=str(piece.pk), payload={})
    assert Posting.objects.count() == rows


def test_a_closed_month_is_closed_once(refitted, owner):
    with pytest.raises(MonthError, match="closed already"):
        month_close(first_day=date(2026, 10, 1), by=owner, now=AFTER)


def test_a_late_change_of_a_closed_months_run_goes_into_the_next(refitted):
    _, october, _ = refitted
    cast.rate("machine", 9600)  # 1,200 s at $96/h = $32
    run_figures(key=str(october.pk), payload={})
    late = Posting.objects.get(kind="machine", run=october)
    assert (late.amount_minor, late.shift_date) == (3200, date(2026, 10, 6))
    assert (late.month.first_day, late.belongs_to.first_day) == (
        date(2026, 11, 1),
        date(2026, 10, 1),
    )


@pytest.mark.parametrize(
    "now",
    [
        datetime(2026, 11, 30, 18, tzinfo=UTC),
        # 19:00 in the shop on the 30th: December in UTC, and the late shift is at work.
        datetime(2026, 12, 1, 1, tzinfo=UTC),
        # 05:59 on 1 December: the night belongs to the day it began, the 30th.
        datetime(2026, 12, 1, 11, 59, tzinfo=UTC),
    ],
)
def test_a_month_that_is_not_over_cannot_be_closed(refitted, owner, now):
    with pytest.raises(MonthError, match="not over yet"):
        month_close(first_day=date(2026, 11, 1), by=owner, now=now)


def test_a_month_is_over_with_its_last_night(refitted, owner):
    Work.objects.all().delete()
    six = datetime(2026, 12, 1, 12, tzinfo=UTC)
    assert month_close(first_day=date(2026, 11, 1), by=owner, now=six).closed_at == six


@pytest.fixture
def crashed(north, operator):
    """Nozzle $14 half charged, electrode $11 charged 40 %, shield $28 charged 10 %; 35 min at $95/h
    and a spoilt part of $6.20.

    pieces 7.00 + 6.60 + 25.20 = 38.80; stop 35/60 x 95 = 55.417 -> 55.42; part 6.20: 100.42.
    Charged before it: 7.00 + 4.40 + 2.80 = 14.20; with 38.80 that is the 53.00 they cost.
    The part: one of 10 of a sheet of $62. The run lasts only as long as its stoppage here, so that
    no machine time falls on the part.
    """
    from shopfloor.models import PartResult, Reason

    cast.rate("machine", 9500)
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e5, 2)] * 10)
    pieces = [
        cast.piece("nozzle", 1400, 200),  # 100 starts of 200
        cast.piece("electrode", 1100, 250),  # 100 of 250
        cast.piece("shield", 2800, 1000),  # 100 of 1,000
    ]
    for piece in pieces:
        cast.fitting(
            piece, north, cast.NOON, cast.at(cast.NOON, 2000), by=operator, state="crashed"
        )
        piece.state = "crashed"
        piece.save()
    reason = Reason.objects.create(code="hit", label="torch hit the plate", kind="crash")
    run = cast.run(revision, north, seconds=0.001, sheet=cast.sheet(6_200))
    run.segments.update(ended_at=cast.NOON)
    cast.arcs(run, [(4 * n, 4 * n + 2, n % 10 + 1) for n in range(100)])
    cast.stoppage(run, cast.at(cast.NOON, 400), 2100, reason=reason)
    PartResult.objects.create(
        run=run,
        line=line,
        outcome="scrap",
        quantity=1,
        contour_number=5,
        cause="crash",
        by=operator,
        at=cast.NOON,
    )
    run_figures(key=str(run.pk), payload={})
    return run, line, pieces


def test_a_crash_costs_what_it_took(crashed):
    line = crashed[1]
    assert _sum(kind="crash") == 10_042
    assert set(Posting.objects.filter(kind="crash").values_list("cause", "line")) == {
        ("crash", line.pk)
    }
    assert _sum(kind="crash", piece=None) == 5_542 + 620
    assert _sum(kind="material") == 6_200 - 620


def test_pieces_lost_in_a_crash_reconcile_to_what_they_cost(crashed):
    _, _, pieces = crashed
    assert _sum(piece__in=pieces) == 5_300
    assert [_sum(piece=piece, kind="wear") for piece in pieces] == [700, 440, 280]
    assert [_sum(piece=piece, kind="crash") for piece in pieces] == [700, 660, 2520]


def test_starts_of_no_run_and_of_before_are_the_shops(north, operator):
    """$10 at 100 rated starts, 20 before it was known, 30 that belong to no run: 2.00 and 3.00."""
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e6, 2)])
    piece = cast.piece("nozzle", 1000, 100, prior_starts=20)
    cast.fitting(piece, north, cast.NOON, by=operator)
    run = cast.run(revision, north, seconds=900)
    cast.arcs(run, [(4 * n, 4 * n + 2, 1) for n in range(10)])
    stray = cast.arcs(run, [(500 + 4 * n, 502 + 4 * n, 1) for n in range(30)])
    from shopfloor.models import ArcAssignment

    ArcAssignment.objects.filter(arc_key__in=[arc.key for arc in stray]).delete()
    run_figures(key=str(run.pk), payload={})
    assert _sum(piece=piece, line=line) == 100
    assert _sum(piece=piece, cause="before") == 200
    assert _sum(piece=piece, cause="no run") == 300
    assert PieceOutlook.objects.get(piece=piece).starts == 60
