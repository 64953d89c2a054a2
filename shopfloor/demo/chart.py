"""The demo's cut chart, computed and not copied: an energy balance with stated assumptions.
Example values, not for cutting.

    speed = efficiency x volts x amps / (melt energy per volume x thickness x kerf)

Melt energies per volume are heat capacity times rise to melting plus heat of fusion, times
density (10.24 J/mm3 mild steel, 9.48 stainless 304, 2.87 aluminium; handbook constants from
memory). Efficiency, kerf, pierce time and expected u are our assumptions, chosen only so that
fine is squarer and slower and fast is quicker and looser, as is common practice (no source).
"""

from __future__ import annotations

from dataclasses import dataclass

MELT_J_MM3 = {"A36": 10.24, "304": 9.48, "5052": 2.87}
# How much of the arc's power melts the kerf; aluminium conducts the rest away.
EFFICIENCY = {"A36": 0.35, "304": 0.32, "5052": 0.16}
NOTE = "example values, not for cutting"


@dataclass(frozen=True, slots=True)
class DemoSet:
    code: str
    duty: str
    current_a: float
    arc_v: float
    kerf_at_0_mm: float
    kerf_per_mm: float
    max_pierce_mm: float
    u_share: float  # of thickness, plus a tenth of a millimetre
    bench_min_per_m: float
    thicknesses: dict[str, tuple[float, ...]]


SETS = (
    DemoSet(
        "F50",
        "fine",
        50,
        112,
        1.35,
        0.020,
        8.0,
        0.011,
        0.45,
        {"A36": (1.5, 3, 6, 10), "304": (1.5, 3, 6), "5052": (1.5, 3, 6)},
    ),
    DemoSet(
        "F80",
        "fine",
        80,
        122,
        1.75,
        0.022,
        12.0,
        0.014,
        0.55,
        {"A36": (3, 6, 10, 12), "304": (3, 6, 10), "5052": (3, 6)},
    ),
    DemoSet(
        "P120",
        "fast",
        120,
        138,
        2.25,
        0.028,
        20.0,
        0.034,
        1.1,
        {"A36": (3, 6, 10, 12, 20, 25), "304": (3, 6, 10, 12), "5052": (3, 6, 10)},
    ),
)


@dataclass(frozen=True, slots=True)
class DemoRow:
    set: DemoSet
    material: str
    thickness_mm: float
    speed_mm_min: float
    pierce_delay_s: float
    touch_off_s: float
    pierce_height_mm: float
    cut_height_mm: float
    kerf_mm: float
    u_mm: float


def rows() -> list[DemoRow]:
    """Every row of the demo's chart."""
    return [
        _row(wear_set, material, thickness)
        for wear_set in SETS
        for material, thicknesses in wear_set.thicknesses.items()
        for thickness in thicknesses
    ]


def _row(wear_set: DemoSet, material: str, thickness_mm: float) -> DemoRow:
    kerf = wear_set.kerf_at_0_mm + wear_set.kerf_per_mm * thickness_mm
    power_w = wear_set.arc_v * wear_set.current_a
    mm_s = EFFICIENCY[material] * power_w / (MELT_J_MM3[material] * thickness_mm * kerf)
    return DemoRow(
        set=wear_set,
        material=material,
        thickness_mm=thickness_mm,
        speed_mm_min=float(round(mm_s * 60 / 10) * 10),
        pierce_delay_s=round(0.15 + 0.9 * (thickness_mm / 10) ** 1.4 * 80 / wear_set.current_a, 2),
        touch_off_s=1.6,
        pierce_height_mm=round(3.0 + 0.15 * thickness_mm, 1),
        cut_height_mm=round(1.6 + 0.06 * thickness_mm, 1),
        kerf_mm=round(kerf, 2),
        u_mm=round(0.1 + wear_set.u_share * thickness_mm, 3),
    )
