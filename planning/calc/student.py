"""Student's t."""

from __future__ import annotations

from statistics import NormalDist


def student_t(chance: float, freedom: int) -> float:
    """Quantile of Student's t by its expansion about the normal's (Cornish-Fisher, Abramowitz and
    Stegun 26.7.5). For chance .9 within 0.2 % from 4 degrees of freedom on; not for fewer."""
    z = NormalDist().inv_cdf(chance)
    first = (z**3 + z) / 4
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    return z + first / freedom + second / freedom**2 + third / freedom**3
