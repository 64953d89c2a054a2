from __future__ import annotations

from fractions import Fraction

import pytest

from planning.calc.indicators import Elements, indicators

# Nakajima, Introduction to TPM (1988), the numbers as read in an EU training course: 480 min day,
# 20 planned stop, 60 down (20 of it set-up), 400 parts of which 8 rejected, ideal 0.5 min a part.
DAY = Elements(
    pbt=460, apt=400, aupt=420, aust=20, adet=40, aubt=460, pri=0.5, pq=400, gq=392, sq=8
)


def test_nakajimas_day_in_exact_fractions():
    found = indicators(DAY)
    expected = {
        "availability": Fraction(400, 460),
        "effectiveness": Fraction(1, 2),
        "quality": Fraction(392, 400),
        "oee": Fraction(400, 460) * Fraction(1, 2) * Fraction(392, 400),
        "nee": Fraction(420, 460) * Fraction(1, 2) * Fraction(392, 400),
        "setup_rate": Fraction(20, 420),
        "technical_efficiency": Fraction(400, 440),
        "utilisation_efficiency": Fraction(400, 460),
        "allocation_efficiency": Fraction(1),
        "scrap": Fraction(8, 400),
    }
    for name, value in expected.items():
        assert getattr(found, name) == pytest.approx(float(value), abs=1e-12), name
    # Printed there as 42.6 %.
    assert found.oee == pytest.approx(0.426, abs=5e-4)
    # Speed rate 0.625 (0.5 / 0.8) times net rate 0.8 (400 x 0.8 / 400).
    assert found.effectiveness == pytest.approx(0.625 * 0.8)


def test_oee_is_good_count_times_ideal_cycle_over_planned_time():
    assert indicators(DAY).oee == pytest.approx(392 * 0.5 / 460, abs=1e-12)


def test_effectiveness_above_one_is_shown_as_it_is():
    assert indicators(Elements(pri=1.5, pq=400, apt=400)).effectiveness == 1.5


def test_zero_denominators_and_missing_elements_are_unknown():
    nothing = indicators(Elements(pbt=0, apt=0, pq=0, gq=0, sq=0, cmt=0, pmt=0, adet=0))
    for name in ("availability", "quality", "oee", "scrap", "corrective_maintenance",
                 "technical_efficiency", "first_pass_yield", "worker_efficiency"):  # fmt: skip
        assert getattr(nothing, name) is None, name
    idle = indicators(Elements(pbt=480, apt=0))
    assert idle.availability == 0
    assert idle.oee is None


def test_the_remaining_ratios():
    # By hand from the formulas read in the draft's ontology.
    found = indicators(
        Elements(aubt=300, aoet=600, apt=150, pq=30, rq=3, sq=2, psq=4, gp=27, ip=30, apwt=6,
                 apat=8, cmt=1, pmt=3)
    )  # fmt: skip
    assert found.allocation == 0.5
    assert found.production_process == 0.25
    assert found.throughput_rate == 0.05
    assert found.rework == 0.1
    assert found.actual_to_planned_scrap == 0.5
    assert found.first_pass_yield == 0.9
    assert found.worker_efficiency == 0.75
    assert found.corrective_maintenance == 0.25
