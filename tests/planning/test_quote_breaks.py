"""Quantities of a quote's line, each with a price of its own."""

from __future__ import annotations

import pytest

from planning.reports import quote_detail
from planning.services.quote_breaks import quantities_of
from planning.services.quotes import LineAsked, quote_make, quote_revise
from shopfloor.models import Rate
from tests.planning.test_quotes import NOW, history, nest, told

pytestmark = pytest.mark.django_db
__all__ = ["history", "nest"]  # fixtures


def ask(history, by, *lines, **more):
    return quote_make(
        customer="Fallow Gate Farms", title="plates",
        lines=[LineAsked(history.nest_id, *line) for line in lines], chance=0.2, valid_days=30,
        by=by, now=NOW, **more,
    )  # fmt: skip


def test_each_quantity_costs_what_a_quote_of_it_would(history, owner):
    """In a shop where nothing varies: the work of n sheets, n sheets of plate, one set-up of 30
    minutes at 90.00 an hour."""
    quote = ask(history, owner, (4, (1, 10, 4), 30.0))
    [line] = quote.lines.all()
    assert (line.setup_min, line.setup_minor) == (30.0, 4500)
    assert [one["quantity"] for one in line.breaks] == [1, 10]
    for one in line.breaks:
        alone = ask(history, owner, (one["quantity"],)).lines.get()
        assert one["work_minor"] == alone.cost_minor
        assert one["material_minor"] == one["quantity"] * 30_000
        assert one["minor"] == alone.cost_minor + alone.material_minor + 4500
    assert quote.cost_minor == line.cost_minor + line.material_minor + 4500


def test_a_set_up_and_chance_make_many_cheaper_each(history, owner, monkeypatch):
    told(monkeypatch, level=0.1, rate=1 / 20, stop=(3600.0,))
    quote = ask(history, owner, (4, (1, 16), 30.0))
    [one, four, sixteen] = quote_detail(quote_id=quote.pk, now=NOW).breaks
    assert (one.asked, four.asked, sixteen.asked) == (False, True, False)
    assert one.each_minor > four.each_minor > sixteen.each_minor
    assert one.price_minor < four.price_minor < sixteen.price_minor
    assert four.price_minor == quote.price_minor


def test_a_typed_price_moves_every_quantity_by_its_share(history, owner):
    plain = ask(history, owner, (2, (6,)), (1,))
    dear = ask(history, owner, (2, (6,)), (1,), price_minor=plain.cost_minor * 2 + 1)
    before = quote_detail(quote_id=plain.pk, now=NOW).breaks
    after = quote_detail(quote_id=dear.pk, now=NOW).breaks
    assert [one.quantity for one in after] == [2, 6]  # the second line has no other quantity
    for cheap, double in zip(before, after, strict=True):
        assert double.minor == cheap.minor
        assert double.price_minor == pytest.approx(2 * cheap.minor, abs=2)


def test_prices_of_the_lines_are_the_quotes_to_the_cent(history, owner):
    quote = ask(history, owner, (1, (2,)), (1, (2,)), (1, (2,)), price_minor=100_000)
    asked = [one for one in quote_detail(quote_id=quote.pk, now=NOW).breaks if one.asked]
    assert sum(one.price_minor for one in asked) == 100_000


def test_what_other_lines_are_does_not_change_with_a_quantity(history, owner):
    quote = ask(history, owner, (2, (50,)), (3,))
    again = ask(history, owner, (2,), (3,))
    assert [line.cost_minor for line in quote.lines.all()] == [
        line.cost_minor for line in again.lines.all()
    ]


def test_a_revision_keeps_quantities_and_set_up(history, owner):
    quote = quote_revise(quote=ask(history, owner, (4, (10,), 30.0)), by=owner, now=NOW)
    [line] = quote.lines.all()
    assert ([one["quantity"] for one in line.breaks], line.setup_min) == ([10], 30.0)


def test_a_set_up_without_a_rate_is_unknown(history, owner):
    Rate.objects.filter(kind="labour").delete()
    quote = ask(history, owner, (4, (10,), 30.0))
    assert quote.cost_minor is None
    assert "set-up: no rate of North" in quote.unknown
    assert quote_detail(quote_id=quote.pk, now=NOW).breaks[1].minor is None


def test_quantities_are_read_as_typed():
    assert quantities_of("10, 50;100 7", 1000) == (10, 50, 100, 7)
    assert quantities_of("  ", 1000) == ()
    for text in ("ten", "0", "-3", "1.5", "1001", "9" * 5000, "1e3"):
        with pytest.raises(ValueError, match="is not a quantity"):
            quantities_of(text, 1000)
    with pytest.raises(ValueError, match="5 other quantities at most"):
        quantities_of("1 2 3 4 5 6", 1000)
