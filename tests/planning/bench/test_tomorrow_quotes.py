"""Quotes in simulated shops against what their jobs took."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planning.bench.tomorrow.quotes import (
    CHANCES,
    SIZES,
    Quoted,
    outside,
    quoted,
    tabled,
    took_s,
    words,
)
from planning.bench.tomorrow.worlds import PLAIN, simulate
from planning.calc.ahead.quotes import LineAhead

SURE = replace(
    PLAIN, days=4, known_days=2, level=0.1, cell_sd=0.0, nest_sd=0.0, day_sd=0.0, error_sd=0.0,
    stops_per_h=1e-9, load_s=1e-6, unload_s=1e-6,
)  # fmt: skip


def test_a_job_takes_what_its_shop_was_made_to_take():
    shop = simulate(SURE, 1)
    asked = [LineAhead(0, 0, nest, 0.0, 3) for nest in (4, 5)]
    chance = np.random.default_rng(1)
    plans = [shop.truth.nest(SURE, nest, chance)[1] for nest in (4, 5)]
    assert took_s(shop, asked, 2, chance) == pytest.approx(3 * sum(plans) * np.exp(0.1), rel=1e-6)


def test_every_size_is_quoted_for_now_and_for_a_fortnight_on(monkeypatch):
    monkeypatch.setattr("planning.bench.tomorrow.quotes.SIZES", ((1, 1), (2, 3)))
    monkeypatch.setattr("planning.bench.tomorrow.quotes.DRAWS", 50)
    found = list(quoted(replace(PLAIN, days=4, known_days=2), shops=1, moments=1))
    assert len(SIZES) == 4
    assert [(one.lead, one.lines, one.sheets) for one in found[:4]] == [
        (0, 1, 1), (2, 1, 1), (0, 2, 3), (2, 2, 3)
    ]  # fmt: skip
    assert all(0 < one.pit < 1 for one in found)


def test_what_lies_outside_the_limits_of_chance_is_named():
    """Of 100 quotes 20 took more than said at a chance of 20 %, and none at 10 % or less. Exact
    binomial limits of 95 %: from 5 on at 10 %, from 1 on at 5 %."""
    pits = [0.85] * 20 + [0.3] * 80
    [size] = tabled(Quoted(0, 10, 4, one) for one in pits)
    seen = {one["promised"]: (one["seen"], one["low"]) for one in size["chances"]}
    assert set(seen) == set(CHANCES)
    assert (seen[0.2][0], seen[0.1], seen[0.02]) == (20, (0, 5), (0, 0))
    assert outside([size]) == [
        "quotes of 10 x 4, 0 weeks ahead: 0.0% took more, 5% promised",
        "quotes of 10 x 4, 0 weeks ahead: 0.0% took more, 10% promised",
        "quotes of 10 x 4, 0 weeks ahead: 20.0% took more, 30% promised",
        "quotes of 10 x 4, 0 weeks ahead: 20.0% took more, 50% promised",
    ]
    assert "20: 20.0 (12.0-28.0)" in words([size])[-1]
