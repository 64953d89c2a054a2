"""A quote that was taken becomes a job."""

from __future__ import annotations

import pytest

from planning.calc.drawing import Reading
from planning.reports import quote_board
from planning.reports.quote_paper import default_words
from planning.services.quote_take import quote_take
from planning.services.quotes import (
    LineAsked,
    PartsAsked,
    QuoteError,
    quote_decide,
    quote_make,
    quote_revise,
)
from shopfloor.drawings.services import drawing_add
from shopfloor.models import Contour, Job, Quote
from tests.planning import cast
from tests.planning.calc.drawing.made import dxf, square
from tests.planning.test_quotes import NOW, history, nest

pytestmark = pytest.mark.django_db
__all__ = ["history", "nest"]  # fixtures


@pytest.fixture
def quote(history, owner):
    drawn = drawing_add(
        name="base plate", file_name="base.dxf", raw=dxf(square), by=owner,
        material=history.nest.material, thickness_text="6 mm", reading=Reading(),
    )  # fmt: skip
    nest = history.nest
    return quote_make(
        customer="Fallow Gate Farms", title="plates", chance=0.2, valid_days=30, by=owner, now=NOW,
        lines=[
            LineAsked(nest.pk, 3), PartsAsked(drawn.pk, nest.table_id, nest.wear_set_id, 30),
        ],
    )  # fmt: skip


def take(quote, by, **more):
    return quote_take(quote=quote, by=by, now=NOW, **more)


def test_its_job_has_the_parts_asked_at_the_price_asked(quote, owner):
    """Three sheets of one plate each, and thirty of the drawing."""
    job = take(quote, owner, why="price")
    assert (job.number, job.customer.name, job.title) == ("Q-0001", "Fallow Gate Farms", "plates")
    assert (job.quote_minor, job.source) == (quote.price_minor, "Q-0001 rev 1")
    assert [(line.part, line.quantity, line.thickness_mm) for line in job.lines.all()] == [
        ("plate", 3, 6.0), ("base plate", 30, 6.0)
    ]  # fmt: skip
    assert [line.drawing and line.drawing.name for line in job.lines.all()] == [None, "base plate"]
    quote.refresh_from_db()
    assert (quote.state, quote.job, quote.why, quote.decided_by) == ("won", job, "price", owner)


def test_a_contour_that_makes_two_parts_is_two_on_job_and_page(quote, owner):
    Contour.objects.filter(part="plate").update(parts=2)
    assert default_words(quote.lines.get(number=1)) == "a sheet of 2 plate"
    assert take(quote, owner).lines.get(part="plate").quantity == 6


def test_pressed_twice_it_is_one_job(quote, owner):
    before = Job.objects.count()
    again = Quote.objects.get(pk=quote.pk)  # a second page that was opened before the first press
    assert take(quote, owner, number="J-77") == take(again, owner, number="J-78")
    assert Job.objects.count() == before + 1


def test_a_number_in_use_is_said_and_nothing_is_made(quote, owner):
    cast.job("Q-0001")
    before = Job.objects.count()
    with pytest.raises(QuoteError, match="There is a job Q-0001 already"):
        take(quote, owner)
    with pytest.raises(QuoteError, match="at most 40 characters"):
        take(quote, owner, number="J" * 41)
    assert Job.objects.count() == before
    quote.refresh_from_db()
    assert quote.state == "open"
    assert take(quote, owner, number="J-500").number == "J-500"


def test_a_lost_quote_or_an_older_revision_is_not_taken(quote, owner):
    newest = quote_revise(quote=quote, by=owner, now=NOW)
    with pytest.raises(QuoteError, match="newer revision"):
        take(quote, owner)
    quote_decide(quote=newest, won=False, by=owner, now=NOW, why="delivery")
    with pytest.raises(QuoteError, match="decided already"):
        take(newest, owner)
    assert not Job.objects.filter(number="Q-0001").exists()


def test_a_program_that_names_no_part_counts_its_sheets(quote, owner):
    Contour.objects.update(line=None)
    quote.lines.filter(number=1).update(words="bracket, left")
    first = take(quote, owner).lines.first()
    assert (first.part, first.quantity) == ("bracket, left", 3)


def test_what_was_won_and_why_it_was_lost_is_counted(quote, owner):
    for why in ("price", "delivery", "price", ""):
        made = quote_make(
            customer="x", title="y", lines=[LineAsked(quote.lines.first().revision.nest_id, 1)],
            chance=0.2, valid_days=30, by=owner, now=NOW,
        )  # fmt: skip
        quote_decide(quote=made, won=False, by=owner, now=NOW, why=why)
    take(quote, owner)
    board = quote_board(now=NOW)
    assert (board.won, board.lost) == (1, 4)
    assert board.reasons == (("price", 2), ("delivery", 1))
