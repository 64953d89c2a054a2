"""Melting energy: handbook constants from memory (liquid iron at its melting point is 1.30 MJ/kg
above 298 K in the NIST-JANAF tables, from memory); speeds worked out apart from this project."""

from __future__ import annotations

from pathlib import Path

import pytest

from planning.calc.chart import cutting_efficiency, melt_energy_j_mm3, read_chart, review
from planning.calc.chart.energy import fastest_mm_min

CHART = Path(__file__).parents[4] / "fixtures" / "programs" / "chart.csv"


@pytest.mark.parametrize(
    ("material", "j_mm3"),
    [("mild steel", 10.24), ("304", 9.48), ("aluminium", 2.87), ("copper", 5.99)],
)
def test_energy_by_volume(material, j_mm3):
    assert melt_energy_j_mm3(material) == pytest.approx(j_mm3, abs=0.005)


def test_unknown_metal_has_none():
    assert melt_energy_j_mm3("oak") is None
    assert fastest_mm_min(6000, 6, 1.8, "oak") is None


TABLE = [
    (6000, 6, 1.8, (3255, 1302, 488)),
    (6000, 12, 2.2, (1332, 533, 200)),
    (6000, 25, 3.5, (402, 161, 60)),
    (12000, 6, 1.8, (6510, 2604, 977)),
    (12000, 12, 2.2, (2663, 1065, 400)),
    (12000, 25, 3.5, (804, 321, 121)),
    (24000, 6, 1.8, (13021, 5208, 1953)),
    (24000, 12, 2.2, (5327, 2131, 799)),
    (24000, 25, 3.5, (1607, 643, 241)),
]


@pytest.mark.parametrize(("power", "thickness", "kerf", "speeds"), TABLE)
def test_speed_bounds_of_mild_steel(power, thickness, kerf, speeds):
    for efficiency, speed in zip((1, 0.4, 0.15), speeds, strict=True):
        found = fastest_mm_min(power, thickness, kerf, "mild steel", efficiency)
        # The table was worked with 10.24 J/mm3 and rounded to 1 mm/min.
        assert found * melt_energy_j_mm3("mild steel") / 10.24 == pytest.approx(speed, abs=0.6)


def test_the_example_chart_is_plausible():
    rows = read_chart(CHART.read_bytes())
    assert review(rows) == []
    assert all(0.05 < (cutting_efficiency(row) or 0) < 0.6 for row in rows)
    speeds = [row.speed_mm_min for row in rows]
    assert speeds == sorted(speeds, reverse=True)


@pytest.mark.parametrize(
    # Typical conditions for carbon steel in the AWS Welding Handbook, from memory and unconfirmed:
    # mm, mm/s, kW.
    ("thickness", "speed_mm_s", "kw"),
    [(6.35, 86, 55), (12.7, 42, 55), (25.4, 21, 85), (50.8, 11, 110)],
)
def test_published_conditions_lie_within_the_likely_range(thickness, speed_mm_s, kw):
    # With a kerf of 3 to 5 mm they imply that 0.15 to 0.51 of the power melts the kerf.
    for kerf in (3, 5):
        fastest = fastest_mm_min(kw * 1000, thickness, kerf, "mild steel")
        assert fastest is not None
        assert 0.05 < speed_mm_s * 60 / fastest < 0.6
