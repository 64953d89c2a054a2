"""Lengths in inches and feet, for whoever reads them so."""

from __future__ import annotations

from typing import Final

MM_PER_IN: Final = 25.4
M_PER_FT: Final = 0.3048


def in_from_mm(mm: float) -> float:
    return mm / MM_PER_IN


def ft_from_mm(mm: float) -> float:
    return mm / 1000 / M_PER_FT
