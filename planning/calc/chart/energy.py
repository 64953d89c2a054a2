"""Whether an arc has the power to melt the kerf at a speed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from planning.calc.chart.types import ChartRow
from planning.calc.said import said
from planning.calc.units import DENSITY_KG_M3, S_PER_MIN, material_family

# Our reading of the energy balances found: cuts that need more than 0.6 or less than 0.05 of the
# arc's power are unlikely; more than all of it cannot be, unless the gas burns the metal.
LIKELY_MOST: Final = 0.6
LIKELY_LEAST: Final = 0.05
_AMBIENT_C: Final = 20.0


@dataclass(frozen=True, slots=True)
class _Metal:
    """Mean specific heat in J/(kg K), melting point in C, heat of fusion in J/kg."""

    cp_j_kg_k: float
    melts_c: float
    fusion_j_kg: float


# Handbook values from memory; liquid iron in the NIST-JANAF tables (1.30 MJ/kg above 298 K at its
# melting point, from memory) agrees with the first.
_METALS: Final = {
    "mild steel": _Metal(700.0, 1530.0, 247e3),
    "stainless": _Metal(660.0, 1420.0, 261e3),
    "aluminium": _Metal(1040.0, 660.0, 397e3),
    "copper": _Metal(435.0, 1085.0, 205e3),
}
_BURNS: Final = re.compile(r"\b(?:o2|oxygen)\b", re.IGNORECASE)


def melt_energy_j_mm3(material: str) -> float | None:
    """Heat in J/mm3 that brings a metal from 20 C to liquid: rho (cp (Tm - 20) + L).

    Mean specific heat up to melting; superheat, vapour and conducted heat are left out, so it is a
    lower bound. None for a material that is not known.
    """
    family = material_family(material)
    metal = _METALS.get("mild steel" if family == "galvanised" else family or "")
    if metal is None or family is None:
        return None
    heat_j_kg = metal.cp_j_kg_k * (metal.melts_c - _AMBIENT_C) + metal.fusion_j_kg
    return DENSITY_KG_M3[family] * heat_j_kg * 1e-9


def fastest_mm_min(
    power_w: float, thickness_mm: float, kerf_mm: float, material: str, efficiency: float = 1.0
) -> float | None:
    """Speed in mm/min at which ``efficiency`` of the power melts the kerf: eta P / (e t w)."""
    energy = melt_energy_j_mm3(material)
    if energy is None:
        return None
    return efficiency * power_w / (energy * thickness_mm * kerf_mm) * S_PER_MIN


def cutting_efficiency(row: ChartRow) -> float | None:
    """Share of volts x amps that melting the kerf takes, None where the row does not say enough."""
    if row.arc_v is None or row.current_a is None or row.kerf_mm is None:
        return None
    fastest = fastest_mm_min(row.arc_v * row.current_a, row.thickness_mm, row.kerf_mm, row.material)
    return None if fastest is None else row.speed_mm_min / fastest


def is_impossible(row: ChartRow, efficiency: float) -> bool:
    """More than all of the arc's power. With oxygen on steel the burning iron adds heat, so there
    it is only unlikely."""
    steel = material_family(row.material) in ("mild steel", "galvanised")
    return efficiency > 1 and not (steel and _BURNS.search(row.gas))


def unlikely(efficiency: float) -> str | None:
    """What to say about an efficiency outside the likely range, None inside it."""
    if LIKELY_LEAST <= efficiency <= LIKELY_MOST:
        return None
    if efficiency > LIKELY_MOST:
        return said(
            "unlikely fast: melting the kerf takes {efficiency:.0%} of the arc's power",
            efficiency=efficiency,
        )
    return said(
        "unlikely slow: melting the kerf takes {efficiency:.0%} of the arc's power",
        efficiency=efficiency,
    )
