"""What a failure costs a shop, and what its wear page advises of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from planning.inputs.changes import failures, planned_changes
from planning.reports.change_pays import change_pays
from planning.reports.openers import open_figure
from planning.reports.survival import learned_of_pieces
from planning.services.change_pays import typed_of
from planning.services.lives import lives_write
from planning.services.piece_figures import piece_figures
from shopfloor.models import Fitting, PartResult, Posting, Segment, Shop
from shopfloor.runs.arcs import to_us
from tests.planning import cast

pytestmark = pytest.mark.django_db
BEGUN = datetime(2026, 10, 6, 17, tzinfo=UTC)  # 12:00 in Chicago, a Tuesday
FAILS_S, ON_AGAIN_S = 1000.0, 1900.0


@pytest.fixture
def rates(shop):
    cast.rate("machine", 6000)
    cast.rate("labour", 3000)


def _run_with_failure(table, operator, day, *, scrap=0, mate=False):
    """A run whose electrode fails after 1000 s; the arc is on again 900 s later."""
    begun = BEGUN + timedelta(days=day)
    _job, [line] = cast.job(f"J-{day}")
    revision = cast.nest(operator, [(line, 10_000.0, 10.0)] * 4, name=f"N-{day}")
    run = cast.run(revision, table, start=begun, seconds=3600.0, operator=operator)
    cast.arcs(run, [(10, 400, 1), (500, FAILS_S, 2), (ON_AGAIN_S, 2300, 3)], start=begun)
    out = cast.at(begun, 1700)
    piece, incident = cast.piece("electrode", 1900, 600, prior_starts=58), uuid4()
    cast.fitting(piece, table, begun, out, by=operator, state="failed", removal_cause="pit",
                 incident=incident)  # fmt: skip
    pieces = [piece]
    if mate:
        nozzle = cast.piece("nozzle", 1000, 500)
        cast.fitting(nozzle, table, begun, out, by=operator, state="retired", collateral=True,
                     incident=incident)  # fmt: skip
        pieces.append(nozzle)
    for one, state in zip(pieces, ("failed", "retired"), strict=False):
        one.state = state
        one.save()
        piece_figures(key=str(one.pk), payload={})
    for outcome, n, cause in (("good", 4 - scrap, ""), ("scrap", scrap, "wear part failed")):
        if n:
            PartResult.objects.create(
                run=run, line=line, outcome=outcome, quantity=n, cause=cause, by=operator,
                at=cast.at(begun, 3600),
            )  # fmt: skip
    return run, line


def _paid(run, line, minor, key):
    from planning.services.postings import MonthPicker

    month, _own = MonthPicker().place(BEGUN.date())
    Posting.objects.create(
        key=key, month=month, shift_date=BEGUN.date(), kind="material", line=line, run=run,
        amount_minor=minor, evidence="measured",
    )  # fmt: skip


def test_a_failure_costs_its_time_its_scrap_and_what_went_with_it(north, operator, rates):
    """By hand: from 1000 s to 1900 s at 90 an hour is 22.50; one of four parts that cost 80.00 is
    20.00; the nozzle burnt 2 of 500 starts: 10.00 x 498 / 500 = 9.96. Sum 52.46."""
    run, line = _run_with_failure(north, operator, 0, scrap=1, mate=True)
    _paid(run, line, 8000, "m0")
    [one] = failures()
    assert (one.lost_s, one.lost) == (900.0, 2250)
    assert one.cut == 2000
    assert one.partners == pytest.approx(996)
    assert one.mate == pytest.approx(996)  # all of it the nozzle
    assert one.total == pytest.approx(5246)


def test_what_is_not_known_is_no_nought(north, operator, rates):
    """No arc after: time unknown. A run that is open: what its scrap cost is unknown."""
    run, _line = _run_with_failure(north, operator, 0)
    run.state = "open"
    run.save()
    [one] = failures()
    assert one.cut is None
    assert one.total is None


def test_a_change_between_runs_is_not_charged_for_loading(north, operator, rates):
    """From 2300 s, the run's last arc, to the next run's first at 6000 s: 3700 s less what the
    table loads and unloads in."""
    _run_with_failure(north, operator, 0)
    begun = BEGUN
    piece = cast.piece("electrode", 1900, 600)
    cast.fitting(piece, north, cast.at(begun, 1700), cast.at(begun, 4000), by=operator,
                 state="retired", removal_cause="pit")  # fmt: skip
    revision = cast.nest(operator, [(None, None, 10.0)], name="next")
    later = cast.run(revision, north, start=cast.at(begun, 5900), seconds=600.0, operator=operator)
    cast.arcs(later, [(100, 200, 1)], start=cast.at(begun, 5900))
    [one] = planned_changes()
    assert one.lost_s == pytest.approx(3700 - north.load_s - north.unload_s)
    assert one.cut == 0


def test_arcs_are_looked_for_in_a_month_either_way(north, operator, rates):
    """A second torch that was never heard does not have all arcs of the years read."""
    _run_with_failure(north, operator, 0)
    with CaptureQueriesContext(connection) as asked:
        failures()
    arcs = [one["sql"] for one in asked.captured_queries if 'FROM "telemetry_arc"' in one["sql"]]
    assert len(arcs) == 2
    assert all('"on_us" >= ' in sql and '"on_us" < ' in sql for sql in arcs)


def test_the_night_is_not_lost_to_a_failure(north, operator, rates):
    """The arc is on again 20 hours later, most of them after the shift: with a day's shift only
    its rest counts, and without any it is too long to be the failure's."""
    _run_with_failure(north, operator, 0)
    from telemetry.models import Arc

    Arc.objects.filter(on_us=to_us(cast.at(BEGUN, ON_AGAIN_S))).update(
        on_us=to_us(cast.at(BEGUN, 72_000)), off_us=to_us(cast.at(BEGUN, 72_400))
    )
    Segment.objects.update(ended_at=cast.at(BEGUN, 80_000))
    [one] = failures()
    assert one.lost_s is None or one.lost_s < 4 * 3600


def test_the_wear_page_waits_for_costs_then_goes_by_what_is_typed(north, operator, shop):
    piece = cast.piece("electrode", 1900, 600)
    cast.fitting(piece, north, BEGUN, by=operator)
    lives_write([piece.part_id])
    assert (
        change_pays(learned_of_pieces([piece.pk]))[piece.pk].verdict == "change"
    )  # no rate at all
    cast.rate("machine", 9000)
    lives_write([piece.part_id])
    assert change_pays(learned_of_pieces([piece.pk]))[piece.pk].verdict == "failure"
    Shop.objects.update(failure_cut_minor=1500, failure_lost_min=30)
    failure, change = typed_of(timezone.now())
    assert (failure.cut, failure.lost) == (1500, 4500)  # 30 min at 90.00
    assert change.lost == 9000 * north.change_s / 3600
    lives_write([piece.part_id])
    found = change_pays(learned_of_pieces([piece.pk]))[piece.pk]
    assert (found.verdict, found.source) == ("thin", "typed")
    assert found.failure == 1900 + 1500 + 4500


def test_a_failures_cost_opens_down_to_the_failures(north, operator, rates):
    """Three of 9.00, none spoilt a part, 900 s each: 22.50 on top of 19.00."""
    for day in range(3):
        _run_with_failure(north, operator, day)
    part = cast.part("electrode")
    lives_write([part.pk])
    figure = open_figure(kind="failure_cost", id=str(part.pk))
    assert figure.quantity.value == 1900 + 2250
    assert [p.quantity.value for p in figure.parts[:5]] == [1900, 0, 0, 2250, 4150]
    incidents = [p for p in figure.parts if p.opens]
    assert [p.quantity.value for p in incidents] == [2250] * 3
    assert {p.opens.kind for p in incidents} == {"piece"}


def test_months_of_failures_bring_advice_and_its_score(north, operator, rates):
    """Thirty electrodes that all gave about 60 starts, each spoiling 80.00 of parts as it failed:
    changed before 55 starts hardly one fails."""
    from shopfloor.models import Piece, PieceOutlook, PieceUse

    for day in range(3):
        _paid(*_run_with_failure(north, operator, day, scrap=4), 8000, f"m{day}")
    part = cast.part("electrode")
    long = cast.nest(operator, [(None, None, 1.0)], name="long")
    run = cast.run(long, north, start=BEGUN - timedelta(days=30), operator=operator)
    now = timezone.now()
    for n in range(30):
        begun = now - timedelta(days=60 - n)
        piece = Piece.objects.create(label=f"E{n}", part=part, price_minor=1900, state="failed")
        starts = 55 + n % 11
        cast.fitting(piece, north, begun, begun + timedelta(hours=5), by=operator, state="failed")
        PieceUse.objects.create(run=run, piece=piece, at=begun, starts=starts, arc_s=60.0,
                                evidence="measured")  # fmt: skip
        PieceOutlook.objects.create(piece=piece, starts=starts, arc_s=60.0, computed_at=now)
    now_in = cast.piece("electrode", 1900, 600)
    cast.fitting(now_in, north, now, by=operator)
    lives_write([part.pk])
    found = change_pays(learned_of_pieces([now_in.pk]))[now_in.pk]
    assert found.failure == 1900 + 2250 + 8000
    assert found.verdict == "pays"
    assert 30 < found.age < 55
    assert 0 < found.month_low < found.month < found.month_high
    assert found.score.sooner > 20  # of those that came once three had ended
    assert 0 < found.score.low < found.score.saved


def test_a_partner_that_goes_back_to_the_shelf_is_not_paid_for(north, operator, rates):
    _run_with_failure(north, operator, 0, mate=True)
    Fitting.objects.filter(collateral=True).update(removal_state="shelved")
    [one] = failures()
    assert (one.partners, one.mate) == (0.0, 0.0)


def test_a_part_and_a_change_without_a_price_are_said_not_a_fault(north, operator, rates):
    north.change_s = 0
    north.save()
    Shop.objects.update(failure_cut_minor=1500, failure_lost_min=30)
    piece = cast.piece("electrode", 0, 600)
    cast.fitting(piece, north, BEGUN, by=operator)
    lives_write([piece.part_id])
    assert change_pays(learned_of_pieces([piece.pk]))[piece.pk].verdict == "price"
