"""Integrals along a curve to a stated error."""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)
RELATIVE = 1e-12
PART = 0.4871  # not a half: about a middle two rules can agree and both be wrong
MOST_PARTS = 200


def integral(of: Callable[[Floats], Floats], low: float, high: float) -> float:
    """The integral of ``of`` from ``low`` to ``high`` by 16-point Gauss-Legendre: each part is
    compared with its two halves, and the part that differs most is halved next, until all
    differences come to ``RELATIVE`` of the sum (Davis & Rabinowitz, Methods of Numerical
    Integration, 2nd ed. 1984, 6.2). Exact for polynomials up to degree 31. Ends after
    ``MOST_PARTS`` where rounding keeps the parts from agreeing; what is left is then that noise."""
    total, doubt = 0.0, 0.0
    parts: list[tuple[float, float, float, float]] = []

    def take(a: float, b: float, coarse: float) -> None:
        nonlocal total, doubt
        middle = a + (b - a) * PART
        fine = _once(of, a, middle) + _once(of, middle, b)
        total += fine
        doubt += abs(fine - coarse)
        heapq.heappush(parts, (-abs(fine - coarse), a, b, fine))

    # An integral that comes to nothing is right once it is nothing beside what it is summed from.
    scale = _once(lambda t: np.abs(of(t)), low, high)
    take(low, high, _once(of, low, high))
    while doubt > RELATIVE * max(abs(total), abs(scale)) and len(parts) < MOST_PARTS:
        worst, a, b, fine = heapq.heappop(parts)
        total -= fine
        doubt += worst
        middle = a + (b - a) * PART
        take(a, middle, _once(of, a, middle))
        take(middle, b, _once(of, middle, b))
    return math.fsum(part[3] for part in parts)


def _once(of: Callable[[Floats], Floats], low: float, high: float) -> float:
    half = (high - low) / 2
    return half * float(WEIGHTS @ of((low + high) / 2 + half * NODES))
