"""Quantities in words, and who may see them."""

from __future__ import annotations

import pytest

from shopfloor.wording.quantity import (
    Coverage,
    Quantity,
    Reading,
    Remark,
    Right,
    Unit,
    coverage,
    evidence_said,
    money,
    remark_said,
    say,
    seconds,
    summed,
    text,
)

OWNER = Reading(currency="USD", rights=frozenset(Right))
INCH = Reading(inch=True, currency="USD", rights=frozenset(Right))
YEN = Reading(currency="JPY", digits=0, rights=frozenset(Right))


@pytest.mark.parametrize(
    ("value", "said"), [(None, "unknown"), (4.94, "4.9 s"), (59.0, "59.0 s"), (744, "12.4 min")]
)
def test_short_times_are_said_in_seconds(value, said):
    assert say(seconds(value), OWNER) == said


@pytest.mark.parametrize(
    ("quantity", "said"),
    [
        (money(123_456), "1,234.56 USD"),
        (money(-5), "−0.05 USD"),
        (money(0.5), "0.01 USD"),  # half away from zero, below it too
        (money(-0.5), "−0.01 USD"),
        (money(None), "unknown"),
        (seconds(1.0, change=True), "+1.0 s"),
        (seconds(-1.0, change=True), "−1.0 s"),
        (seconds(None, change=True), "unknown"),
        (Quantity(1, Unit.STARTS), "1 start"),
        (Quantity(72.5, Unit.STARTS), "72.5 starts"),
        (Quantity(1204, Unit.COUNT), "1,204"),
    ],
)
def test_a_quantity_is_said_in_its_unit(quantity, said):
    assert say(quantity, OWNER) == said


def test_lengths_and_prices_of_them_follow_the_reader():
    """1,000 mm are 3.28 ft; a foot is 0.3048 m."""
    assert say(Quantity(1000, Unit.LENGTH), OWNER) == "1.0 m"
    assert say(Quantity(1000, Unit.LENGTH), INCH) == "3.3 ft"
    assert say(Quantity(1000, Unit.MONEY_PER_M), OWNER) == "10.00 USD a metre"
    assert say(Quantity(1000, Unit.MONEY_PER_M), INCH) == "3.05 USD a foot"
    assert say(money(1234), YEN) == "1,234 JPY"


def test_a_remark_with_money_is_not_for_who_may_not_see_money():
    remark = Remark("charged {}", (money(250),))
    assert remark_said(remark, OWNER) == "charged 2.50 USD"
    assert remark_said(remark, Reading(currency="USD")) == ""
    assert remark_said("as posted", Reading()) == "as posted"


def test_the_evidence_of_a_sum_is_shared_by_what_each_amounts_to():
    """A credit counts by its size: 60 of 100 measured, 40 entered."""
    total = summed([money(60, "measured"), money(-40, "entered")], money(0))
    assert (total.value, total.right) == (20, Right.COST)
    assert evidence_said(total.evidence) == "measured 60 %, entered 40 %"
    twice = coverage([total, money(100, "entered")])
    assert isinstance(twice, Coverage)
    assert twice.share("entered") == pytest.approx(0.7)
    assert evidence_said(coverage([money(1, "planned")])) == "planned"
    assert evidence_said(coverage([text("no sum", "measured")])) == "unknown"
