"""Quotes from their plan to how they fared."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.calc.ahead.quotes import quote_draws
from planning.calc.ahead.scores import LEVELS
from planning.inputs.stored_time import StoredTime
from planning.reports import quote_board, quote_detail
from planning.services.quotes import (
    LineAsked,
    QuoteError,
    quote_decide,
    quote_make,
    quote_revise,
)
from shopfloor.models import Job, JobState, Month, Nest, NestPlan, Posting, Quote, QuoteLine, Sheet
from tests.planning import cast
from tests.planning.calc.ahead.test_quotes import known
from tests.planning.test_nest_plan import SQUARE, _row

pytestmark = pytest.mark.django_db
NOW = cast.NOON + timedelta(days=2)


@pytest.fixture
def nest(north, operator):
    """A plan whose every kind is known, on North with the fast set."""
    north.load_s = north.unload_s = 1800.0
    north.save()
    fast = cast.wear_set()
    _row(fast, 6.0, 3000.0, bench_min_per_m=2.0)
    cast.part("electrode", 1900, 1000, the_set=fast)
    for kind, minor in (("machine", 6000), ("labour", 3000), ("gas", 3600), ("bench", 4800)):
        cast.rate(kind, minor)
    cast.rate("energy", 15)
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e4, 10)], program=SQUARE)
    Nest.objects.update(table=north)
    cast.sheet(30_000, received_at=cast.NOON)
    revision.refresh_from_db()
    return revision


@pytest.fixture
def history(nest, monkeypatch):
    """A shop that knows of five runs that a sheet takes 500 s of handling and e^.1 of its plan."""
    told(monkeypatch, level=0.1)
    return nest


def told(monkeypatch, *, runs=5, **of):
    """What the tables' runs say, in place of a fit."""
    fit = known(**of)
    monkeypatch.setattr(
        "planning.services.quote_forecast.stored_books",
        lambda tables: {one.pk: StoredTime(one.pk, fit, 0, runs, NOW) for one in tables},
    )


def make(nest, by, *, sheets=2, chance=0.2, lines=None, **more):
    return quote_make(
        customer="Fallow Gate Farms", title="plates", chance=chance, valid_days=30, by=by,
        lines=lines or [LineAsked(nest.nest_id, sheets)], now=more.pop("now", NOW), **more,
    )  # fmt: skip


def test_a_quote_is_what_its_sheets_will_take_and_the_plate(history, owner):
    quote = make(history, owner)
    [line] = quote.lines.all()
    # one sheet planned: 3600 s of loading and about 11 s of program at 90.00 an hour: 90.27
    assert line.plan_minor == pytest.approx(2 * 9100, abs=120)
    plan = NestPlan.objects.get()
    burning, costs = plan.total_s * math.exp(0.1), plan.costs_minor
    by_time = (500 + burning) * (costs["machine"] + costs["labour"]) / (3600 + plan.total_s)
    by_arc = (costs["gas"] + costs["energy"]) * math.exp(0.1)
    each = by_time + by_arc + costs["wear"] + costs["bench"]
    assert line.cost_minor == pytest.approx(2 * each, abs=1)
    assert line.material_minor == 60_000
    assert quote.plan_minor == line.plan_minor + 60_000
    assert quote.cost_minor == quote.price_minor == line.cost_minor + 60_000
    assert (quote.number, quote.revision, quote.state) == ("Q-0001", 1, "open")
    assert quote.price_date == date(2026, 10, 8)
    assert quote.valid_until == date(2026, 11, 7)
    assert line.made_from["rests_on"]["words"] == "5 runs of North, none with this set and plate"
    kept = quote.forecast
    assert kept["allowed_minor"] == line.cost_minor
    assert (len(kept["minor"]), len(kept["seconds"])) == (len(LEVELS), len(LEVELS))
    assert kept["seconds"][9] == round(2 * (500 + burning))
    assert kept["tables"] == [{"name": "North", "runs": 5, "until": NOW.isoformat(), "scale": 1.0}]
    steps = quote_detail(quote_id=quote.pk, now=NOW).work.steps
    assert [(step.in_100, step.chosen) for step in steps] == [
        (50, False), (30, False), (20, True), (10, False), (5, False)
    ]  # fmt: skip
    assert steps[2].minor == line.cost_minor


def test_lines_share_the_wholes_allowance_to_the_cent(history, owner, monkeypatch):
    """Four lines that differ by themselves: the whole is exceeded with the chance that was asked,
    and less than four quotes of one line each together."""
    told(monkeypatch, level=0.1, rate=1 / 20, stop=(3600.0,))
    alone = make(history, owner, sheets=3, chance=0.1)
    asked = [LineAsked(history.nest_id, 3)] * 4
    whole = quote_make(
        customer="x", title="y", lines=asked, chance=0.1, valid_days=30, by=owner, now=NOW
    )
    shares = [line.cost_minor for line in whole.lines.all()]
    assert sum(shares) == whole.forecast["allowed_minor"] == whole.cost_minor - 4 * 90_000
    assert sum(shares) < 0.95 * 4 * alone.lines.get().cost_minor
    assert max(shares) / min(shares) < 1.1


@pytest.mark.parametrize(
    ("size", "material"),
    [
        ((1500.0, 1500.0), 30_000),  # two lie on the sheet of 3 x 1.5 m that cost 300.00
        ((2900.0, 1450.0), 60_000),  # the strip left over is no use to anybody
        ((6000.0, 1500.0), 120_000),  # none lies on it: twice its area
        ((None, None), 60_000),
    ],
)
def test_plate_is_priced_by_the_nests_a_sheet_gives(history, owner, size, material):
    """Two nests of a size."""
    Nest.objects.update(sheet_length_mm=size[0], sheet_width_mm=size[1])
    [line] = make(history, owner).lines.all()
    assert line.material_minor == material


def test_numbers_go_on_beyond_four_digits(history, owner):
    for last, following in (("Q-0099", "Q-0100"), ("Q-9999", "Q-10000"), ("Q-10000", "Q-10001")):
        quote = make(history, owner)
        Quote.objects.filter(pk=quote.pk).update(number=last)
        following_quote = make(history, owner)
        assert following_quote.number == following
        following_quote.delete()


def test_a_shop_without_a_record_quotes_by_what_its_table_says(nest, owner):
    """Loading and unloading are typed: half an hour each, with the spread that is assumed."""
    quote = make(nest, owner)
    [line] = quote.lines.all()
    assert line.made_from["rests_on"]["words"].startswith("no run of North yet")
    assert line.plan_minor < line.cost_minor < 2.5 * line.plan_minor


def test_what_is_not_known_leaves_the_price_unknown_and_is_named(nest, owner):
    Sheet.objects.all().delete()
    quote = make(nest, owner)
    assert (quote.cost_minor, quote.price_minor) == (None, None)
    assert quote.unknown == ["N-1: no sheet of it has a price in stock"]


def test_a_rate_or_a_sheet_that_moves_flags_an_open_quote(history, owner):
    quote = make(history, owner)
    [row] = quote_board(now=NOW).rows
    assert row.moved == ()
    cast.rate("bench", 5280, valid_from=NOW.date())
    cast.sheet(32_400, received_at=NOW)
    [row] = quote_board(now=NOW).rows
    assert row.moved == ("bench dearer by 10.0%", "MS 6 mm sheet dearer by 8.0%")
    quote_decide(quote=quote, won=False, by=owner, now=NOW)
    assert quote_board(now=NOW).rows[0].moved == ()


def test_a_revision_is_priced_anew_and_the_old_one_stays(history, owner):
    first = make(history, owner)
    cast.rate("bench", 9600, valid_from=NOW.date())
    second = quote_revise(quote=first, by=owner, now=NOW)
    assert (second.number, second.revision) == ("Q-0001", 2)
    assert second.cost_minor > first.cost_minor
    assert Quote.objects.get(pk=first.pk).cost_minor == first.cost_minor
    [row] = quote_board(now=NOW).rows
    assert (row.quote.pk, row.moved) == (second.pk, ())
    assert quote_detail(quote_id=first.pk, now=NOW).newest is False
    with pytest.raises(QuoteError, match="newest revision"):
        quote_revise(quote=first, by=owner, now=NOW)
    with pytest.raises(QuoteError, match="There is a newer revision"):
        quote_decide(quote=first, won=True, by=owner, now=NOW)


def test_open_quotes_are_added_up(history, owner):
    first, second = make(history, owner), make(history, owner, price_minor=99_900)
    Quote.objects.filter(pk=first.pk).update(cost_minor=None)
    total = quote_board(now=NOW, state="open").total
    assert (total.cost_minor, total.price_minor) == (second.cost_minor, 99_900)
    assert total.unknown == 1
    assert quote_board(now=NOW).total is None


def test_validity_runs_out(history, owner):
    make(history, owner)
    assert not quote_board(now=NOW + timedelta(days=30)).rows[0].expired
    assert quote_board(now=NOW + timedelta(days=31)).rows[0].expired


def won(history, owner, *, took_minor, number, **asked):
    """A quote that became a job, closed, whose postings without material come to this."""
    quote = make(history, owner, **asked)
    _, [line] = cast.job(number, state=JobState.CLOSED)
    month = Month.objects.get_or_create(first_day=date(2026, 10, 1))[0]
    for kind, minor in (("machine", took_minor), ("material", 66_000)):
        Posting.objects.create(
            key=f"{number}{kind}", month=month, shift_date=NOW.date(), kind=kind, line=line,
            amount_minor=minor, evidence="measured",
        )  # fmt: skip
    quote_decide(quote=quote, won=True, by=owner, now=NOW, job_number=number)
    return quote, line


def test_closed_jobs_score_the_promise_material_apart(history, owner):
    allowed = make(history, owner).lines.get().cost_minor
    won(history, owner, took_minor=allowed, number="J-11")
    won(history, owner, took_minor=allowed + 1, number="J-12")
    board = quote_board(now=NOW)
    rows = {row.quote.job.number: row for row in board.rows if row.quote.job}
    assert (rows["J-11"].overran, rows["J-12"].overran) == (False, True)
    # of 2 at 20 %: none .64, one .32, both .04
    assert (board.score.overruns, board.score.n) == (1, 2)
    assert (board.score.low, board.score.high) == (0, 1)
    assert board.score.as_promised is None


def test_a_set_up_is_allowed_for_as_it_is_posted(history, owner):
    """Half an hour at 90.00 an hour on top of the sheets, in the list and in the score; where its
    rate is not known neither is what was allowed."""
    sheets = make(history, owner).lines.get().cost_minor
    for number, took in (("J-11", sheets + 4500), ("J-12", sheets + 4501)):
        lines = [LineAsked(history.nest_id, 2, (), 30.0)]
        won(history, owner, took_minor=took, number=number, lines=lines)
    board = quote_board(now=NOW)
    rows = {row.quote.job.number: row for row in board.rows if row.quote.job}
    assert rows["J-11"].allowed_minor == sheets + 4500
    assert (rows["J-11"].overran, rows["J-12"].overran) == (False, True)
    assert (board.score.overruns, board.score.n) == (1, 2)
    QuoteLine.objects.update(setup_minor=None)
    board = quote_board(now=NOW)
    assert {row.allowed_minor for row in board.rows if row.quote.job} == {None}
    assert board.score is None


def test_the_score_is_of_the_last_closed_whose_costs_are_known(history, owner, monkeypatch):
    """Of nine the newest has nothing posted, two have a gap."""
    monkeypatch.setattr("planning.reports.quotes.LATEST", 3)
    allowed = make(history, owner).lines.get().cost_minor
    for number in range(1, 10):
        over = number % 2  # odd ones take more than they were allowed
        quote, line = won(history, owner, took_minor=allowed + over, number=f"J-2{number}")
        Job.objects.filter(pk=line.job_id).update(closed_at=NOW - timedelta(days=number))
        if number == 1:
            Posting.objects.filter(line=line).exclude(kind="material").delete()
        if number in (3, 4):
            quote.lines.update(cost_minor=None)
    board = quote_board(now=NOW)  # of 2, 5 and 6
    assert (board.score.overruns, board.score.n) == (1, 3)
    Posting.objects.exclude(kind="material").filter(line__job__number__in=("J-22", "J-26")).delete()
    board = quote_board(now=NOW)  # of 5, 7 and 8
    assert (board.score.overruns, board.score.n) == (2, 3)


def test_material_splits_into_price_and_usage(history, north, owner):
    quote, line = won(history, owner, took_minor=100, number="J-11")
    # quoted 2 sheets at 300.00; burnt 3 at 310.00: by price 3 x 10, by usage 1 x 300
    revision = cast.nest(owner, [(line, 1e4, 10)], name="N-9")
    for day in range(3):
        cast.run(revision, north, start=cast.at(NOW, -90_000 * (day + 1)), sheet=cast.sheet(31_000))
    split = quote_detail(quote_id=quote.pk, now=NOW).row.material
    assert (split.price, split.usage) == (3_000, 30_000)


def test_an_open_job_is_not_scored_yet(history, owner):
    quote, _ = won(history, owner, took_minor=100, number="J-11")
    quote.refresh_from_db()
    quote.job.state = JobState.OPEN
    quote.job.save()
    assert quote_board(now=NOW).score is None


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"lines": []}, "at least one nest"),
        ({"customer": " "}, "for whom"),
        ({"lines": [LineAsked(0, 1)]}, "no nest 0"),
    ],
)
def test_a_quote_that_cannot_be_is_refused(history, owner, more, said):
    asked = {
        "customer": "x", "title": "y", "lines": [LineAsked(history.nest_id, 1)], "chance": 0.2,
        "valid_days": 30, "by": owner, "now": NOW,
    }  # fmt: skip
    with pytest.raises(QuoteError, match=said):
        quote_make(**(asked | more))
    assert not Quote.objects.exists()


def test_a_quote_is_decided_once_and_for_a_job_that_is_there(history, owner):
    quote = make(history, owner)
    with pytest.raises(QuoteError, match="There is no job J-404"):
        quote_decide(quote=quote, won=True, by=owner, now=NOW, job_number="J-404")
    quote_decide(quote=quote, won=False, by=owner, now=NOW, why="too dear")
    with pytest.raises(QuoteError, match="decided already"):
        quote_decide(quote=quote, won=True, by=owner, now=NOW)


def test_more_quotes_take_no_more_queries(history, owner):
    won(history, owner, took_minor=10_000, number="J-101")
    make(history, owner)
    few = _queries()
    for number in range(2, 5):
        won(history, owner, took_minor=10_000, number=f"J-10{number}")
        make(history, owner)
    assert len(quote_board(now=NOW).rows) == 8
    assert _queries() == few


def test_a_page_holds_fifty_and_the_score_is_of_all(history, owner):
    first, _ = won(history, owner, took_minor=10_000, number="J-101")
    last = make(history, owner)
    for number in range(3, 60):
        Quote.objects.create(
            number=f"Q-{number:04d}", customer=last.customer, title=f"bracket {number}",
            state="lost", price_date=NOW.date(), valid_until=NOW.date(), made_at=NOW, made_by=owner,
        )  # fmt: skip
    cast.rate("bench", 5280, valid_from=NOW.date())
    pages = [quote_board(now=NOW, page=page) for page in (1, 2)]
    shown = [[row.quote.number for row in board.rows] for board in pages]
    every = [f"Q-{number:04d}" for number in range(59, 0, -1)]
    assert shown == [every[:50], every[50:]]
    assert pages[0].score == pages[1].score is not None
    assert [board.moved for board in pages] == [1, 1]
    assert [row.quote for row in quote_board(now=NOW, text="j-101").rows] == [first]
    assert [row.quote for row in quote_board(now=NOW, state="open").rows] == [last]
    assert quote_board(now=NOW, text="bracket", state="open").rows == ()
    assert len(quote_board(now=NOW, text="bracket").rows) == 50
    assert quote_board(now=NOW, page="99").page.number == 2


def test_only_the_newest_revision_stands_in_the_list(history, owner):
    again = quote_revise(quote=make(history, owner), by=owner, now=NOW)
    assert [row.quote for row in quote_board(now=NOW).rows] == [again]


def _queries():
    with CaptureQueriesContext(connection) as asked:
        quote_board(now=NOW)
    return len(asked)


def test_nothing_is_drawn_while_the_quote_is_written(history, owner, monkeypatch):
    """Or floor entries of the whole shop would wait for it."""
    outside, seen = len(connection.savepoint_ids), []

    def drawn(*args, **more):
        seen.append(len(connection.savepoint_ids))
        return quote_draws(*args, **more)

    monkeypatch.setattr("planning.services.quote_forecast.quote_draws", drawn)
    lines = [LineAsked(history.nest_id, 2, (3,))]
    asked = {"customer": "x", "title": "y", "chance": 0.2, "valid_days": 30}
    quote = quote_make(lines=lines, by=owner, now=NOW, **asked)
    quote_revise(quote=quote, by=owner, now=NOW)
    assert seen == [outside] * 4


def test_an_older_revision_is_refused_before_it_is_drawn(history, owner, monkeypatch):
    quote = make(history, owner)
    quote_revise(quote=quote, by=owner, now=NOW)
    monkeypatch.setattr("planning.services.quote_forecast.quote_draws", lambda *_, **__: 1 / 0)
    with pytest.raises(QuoteError, match="Only the newest revision"):
        quote_revise(quote=quote, by=owner, now=NOW)
