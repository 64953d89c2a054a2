"""Published life data."""

from __future__ import annotations

from planning.calc.life.records import Life

# NIST/SEMATECH e-Handbook 8.4.1.3: hours; 10 units still ran at 500 h
NIST = [Life(age, True) for age in (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)]
NIST += [Life(500, False)] * 10

# Lieblein & Zelen 1956, millions of revolutions
BEARINGS = [
    Life(age, True)
    for age in (
        17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64,
        68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
    )
]  # fmt: skip

# Freireich 1963, 6-MP, weeks; "+" was still in remission
_SIX_MP = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
SIX_MP = [Life(float(text.rstrip("+")), not text.endswith("+")) for text in _SIX_MP.split()]
PLACEBO = [
    Life(age, True)
    for age in (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
]
