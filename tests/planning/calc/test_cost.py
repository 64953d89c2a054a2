from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.cost import (
    MachineYear,
    RateBook,
    RateLine,
    attended,
    energy_kwh,
    machine_hour_rate,
    remnant_credit,
    rounded,
    time_amount,
)


def test_machine_hour_rate_matches_a_published_worked_example():
    """An open university course's example of machine-hour costing (tradition of VDI 3258):
    250 d x 2 shifts x 8 h x 0.9 = 3,600 h; 800,000 bought, index 143/110 and 10,000 of disposal,
    10 years; 15 % interest (deduced there from the printed 16.67); upkeep 90,000 over the 10 years;
    14 kWh at 0.35; 8 m2 at 20 a year; tools 2,630 per 150 h. It prints 70.81 per hour."""
    hours = Decimal(250 * 2 * 8) * Decimal("0.9")
    year = MachineYear(
        hours=hours,
        replacement=Decimal(800_000) * 143 / 110 + 10_000,
        life_years=Decimal(10),
        purchase=Decimal(800_000),
        interest=Decimal("0.15"),
        upkeep_per_year=Decimal(90_000) / 10,
        power_kw=Decimal(14),
        power_price=Decimal("0.35"),
        room_per_year=Decimal(8 * 20),
        tools_per_hour=Decimal(2630) / 150,
    )
    rate = machine_hour_rate(year)
    printed = {"depreciation": "29.1667", "interest": "16.6667", "upkeep": "2.5", "power": "4.9"}
    for part, value in printed.items():
        assert float(rate[part]) == pytest.approx(float(value), abs=5e-5)
    assert float(rate["room"]) == pytest.approx(0.0444, abs=5e-5)
    assert float(rate["tools"]) == pytest.approx(17.5333, abs=5e-5)
    assert round(rate["total"], 2) == Decimal("70.81")
    with pytest.raises(ValueError, match="above 0"):
        machine_hour_rate(MachineYear(Decimal(0), *[Decimal(1)] * 9))


def test_energy_is_volts_times_amps_times_hours_by_efficiency():
    # 50 A x 120 V for an hour at 90 %: 6,000 / 0.9 = 6.67 kWh, computed by hand
    assert energy_kwh(120, 50, 3600, 0.9) == pytest.approx(6.6667, abs=1e-4)
    with pytest.raises(ValueError, match="efficiency"):
        energy_kwh(120, 50, 3600, 0)


def test_money_is_rounded_once_half_away_from_zero():
    assert [rounded(value) for value in (0.5, 1.5, -0.5, 2.49)] == [1, 2, -1, 2]
    assert time_amount(35 * 60_000_000, 9500) == 5542  # 35/60 x 95.00 = 55.4167


def test_rates_hold_from_their_day_and_unknown_is_not_free():
    book = RateBook(
        [
            RateLine("machine", None, 9000, date(2026, 1, 1)),
            RateLine("machine", None, 9500, date(2026, 7, 1)),
            RateLine("machine", 2, 12_000, date(2026, 3, 1)),
        ]
    )
    assert book.on("machine", date(2026, 6, 30)).amount_minor == 9000
    assert book.on("machine", date(2026, 7, 1)).amount_minor == 9500
    assert book.on("machine", date(2026, 7, 1), 2).amount_minor == 12_000
    assert book.on("machine", date(2026, 2, 1), 2).amount_minor == 9000
    assert book.on("machine", date(2025, 12, 31)) is None
    assert book.on("bench", date(2026, 7, 1)) is None


def test_one_person_at_two_tables_is_paid_once():
    # alone at A 0-10, at both 10-30, alone at B 30-40: 10 + 10 and 10 + 10, present 40
    minutes, presence = attended([("milo", "A", 0, 30), ("milo", "B", 10, 40)])
    assert minutes == {"A": 20, "B": 20}
    assert presence == {"milo": 40}


@given(
    st.lists(
        st.tuples(
            st.sampled_from("ab"), st.sampled_from("wxyz"), st.integers(0, 50), st.integers(0, 50)
        ),
        max_size=12,
    )
)
def test_attended_time_never_exceeds_presence(stretches):
    minutes, presence = attended(stretches)
    marks = {(who, at) for who, _, start, end in stretches for at in range(start, end)}
    assert sum(presence.values()) == len(marks)
    assert sum(minutes.values()) == len(marks)


def test_a_remnant_is_credited_by_area_above_the_least_size():
    # a quarter of a $600 sheet at half its worth
    assert remnant_credit(60_000, 4e6, 1e6, factor=0.5, least_mm2=250_000) == 7500
    assert remnant_credit(60_000, 4e6, 2e5, factor=0.5, least_mm2=250_000) == 0
