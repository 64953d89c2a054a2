from __future__ import annotations

import pytest

from planning.calc.units import (
    DENSITY_KG_M3,
    KPA_PER_BAR,
    KPA_PER_PSI,
    Thickness,
    UnitError,
    ft_from_mm,
    gauge_mm,
    in_from_mm,
    lb_from_kg,
    looks_like_inch_mix,
    material_family,
    mm_from_in,
    weight_kg,
)

# Manufacturers' Standard Gauge table as printed in sheet-metal handbooks (two stored copies agree):
# gauge: (carbon steel in, mm, galvanised in, stainless in, Brown & Sharpe aluminium in).
GAUGES = {
    7: (0.1793, 4.555, None, 0.1875, 0.1443),
    8: (0.1644, 4.176, 0.1681, 0.1719, 0.1285),
    10: (0.1345, 3.416, 0.1382, 0.1406, 0.1019),
    11: (0.1196, 3.037, 0.1233, 0.1250, 0.0907),
    12: (0.1046, 2.657, 0.1084, 0.1094, 0.0808),
    13: (0.0897, 2.278, 0.0934, 0.0937, 0.0720),
    14: (0.0747, 1.898, 0.0785, 0.0781, 0.0641),
    16: (0.0598, 1.518, 0.0635, 0.0625, 0.0508),
    18: (0.0478, 1.215, 0.0516, 0.0500, 0.0403),
    20: (0.0359, 0.911, 0.0396, 0.0375, 0.0320),
    22: (0.0299, 0.759, 0.0336, 0.0312, 0.0253),
    24: (0.0239, 0.607, 0.0276, 0.0250, 0.0201),
}


@pytest.mark.parametrize(("gauge", "printed"), GAUGES.items())
def test_gauges_agree_with_the_printed_table(gauge, printed):
    carbon, mm, galvanised, stainless, aluminium = printed
    # The table prints four decimals, so half a unit of the last (and a little for the galvanised
    # column, printed from another rounding) is all it can be off.
    assert gauge_mm(gauge, "mild steel") == pytest.approx(mm, abs=0.00051)
    assert in_from_mm(gauge_mm(gauge, "carbon")) == pytest.approx(carbon, abs=0.000051)
    assert in_from_mm(gauge_mm(gauge, "304")) == pytest.approx(stainless, abs=0.000051)
    assert in_from_mm(gauge_mm(gauge, "5052 aluminium")) == pytest.approx(aluminium, abs=0.000051)
    if galvanised is not None:
        assert in_from_mm(gauge_mm(gauge, "galvanised")) == pytest.approx(galvanised, abs=0.00015)


# The gauges between, of carbon steel in inches, as handbooks print them; aluminium of gauge 0.
BETWEEN = {
    3: 0.2391, 4: 0.2242, 5: 0.2092, 6: 0.1943, 9: 0.1495, 15: 0.0673, 17: 0.0538, 19: 0.0418,
    21: 0.0329, 23: 0.0269, 25: 0.0209, 26: 0.0179, 27: 0.0164, 28: 0.0149, 29: 0.0135, 30: 0.0120,
}  # fmt: skip


@pytest.mark.parametrize(("gauge", "printed"), BETWEEN.items())
def test_the_gauges_between_agree_too(gauge, printed):
    assert in_from_mm(gauge_mm(gauge, "carbon")) == pytest.approx(printed, abs=0.000051)


def test_the_range_of_aluminium_begins_with_gauge_0():
    assert in_from_mm(gauge_mm(0, "5052 aluminium")) == pytest.approx(0.3249, abs=0.000051)


def test_a_shops_own_gauge_wins():
    # A second stainless list in circulation has 16 gauge at 0.060 in.
    own = {("stainless", 16): mm_from_in(0.060)}
    assert gauge_mm(16, "304L", own) == pytest.approx(1.524)
    assert gauge_mm(16, "mild steel", own) == pytest.approx(1.518, abs=0.001)


@pytest.mark.parametrize(
    ("gauge", "material"),
    [(2, "steel"), (7, "galvanised"), (41, "aluminium"), (16, "oak"), (16, "")],
)
def test_a_gauge_outside_its_table_is_refused(gauge, material):
    with pytest.raises(UnitError):
        gauge_mm(gauge, material)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("6 mm", 6.0),
        ("6mm", 6.0),
        ("6", 6.0),
        ("1,5 mm", 1.5),
        ("1/4 in", 6.35),
        ('1/4"', 6.35),
        ("1/4", 6.35),
        ('0.25"', 6.35),
        (".25 inch", 6.35),
        ("1 1/2 in", 38.1),
        ("1-1/2 IN.", 38.1),
        ("16 ga", 40 / 16 / 41.82 * 25.4),
        ("#16", 40 / 16 / 41.82 * 25.4),
        ("10 Gauge", 90 / 16 / 41.82 * 25.4),
    ],
)
def test_thickness_as_typed(text, mm):
    found = Thickness.parse(text, "mild steel")
    assert found.text == text
    assert found.nominal_mm == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["", "thick", "-3 mm", "0", "1/0 in", "6 cm", "nan", "1e3", "16ga"]
)
def test_thickness_that_cannot_be_read_is_refused(text):
    with pytest.raises(UnitError):
        Thickness.parse(text)


def test_plate_weights():
    # 1 in steel plate weighs 40.8 lb/ft2 (common handbook rule): 5 ft x 10 ft x 1/4 in = 510 lb.
    area = mm_from_in(60) * mm_from_in(120)
    assert lb_from_kg(weight_kg(area, 6.35, "A36")) == pytest.approx(510, rel=0.003)
    # 7.85 kg/m2 a millimetre, exactly.
    assert weight_kg(1e6, 1.0, "mild steel") == pytest.approx(7.85, rel=1e-12)
    # 304 at 8000 kg/m3 is 41.62 lb/ft2 an inch (density from memory, conversion by hand).
    assert lb_from_kg(weight_kg(mm_from_in(12) ** 2, 25.4, "304")) == pytest.approx(41.62, abs=0.01)
    with pytest.raises(UnitError):
        weight_kg(1.0, 1.0, "oak")


def test_length_conversions_are_the_exact_ones():
    assert mm_from_in(1) == 25.4
    assert ft_from_mm(1000) == pytest.approx(1 / 0.3048, rel=1e-15)
    assert DENSITY_KG_M3["stainless"] == 8000


@pytest.mark.parametrize(
    ("a", "b", "mixed"),
    [(100, 2540, True), (2540, 100, True), (100, 2500, True), (100, 2400, False), (6, 6.35, False),
     (0, 25.4, False), (-1, 25.4, False)],
)  # fmt: skip
def test_inch_mix(a, b, mixed):
    assert looks_like_inch_mix(a, b) is mixed


@pytest.mark.parametrize(
    ("text", "family"),
    [("A36", "mild steel"), ("Mild Steel", "mild steel"), ("S355J2", "mild steel"),
     ("304L", "stainless"), ("stainless steel", "stainless"), ("galvanized steel", "galvanised"),
     ("5052-H32 aluminum", "aluminium"), ("al", "aluminium"), ("oak", None)],
)  # fmt: skip
def test_material_family(text, family):
    assert material_family(text) == family


def test_pressures_are_as_nist_lists_them():
    """NIST SP 811, B.8: 1 psi = 6.894 757 E+03 Pa, 1 bar = 1 E+05 Pa (both from memory)."""
    assert abs(KPA_PER_PSI - 6.894757) < 5e-7
    assert KPA_PER_BAR == 100
