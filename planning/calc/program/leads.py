"""Lead-in, loop and lead-out of a contour.

The rule (ours): of a torch-on path the loop is the longest stretch between two vertices that lie
within ``CLOSE_MM`` of each other (three steps of the program's last decimal where that is more, up
to ``MOST_CLOSE_MM``), if it is ``LEAST_SHARE`` of the path at least. What comes before it is
lead-in, what comes after it lead-out, a cut beyond the closing point among it. A path without such
a stretch is open and has neither, unless it crosses or touches itself (``crossings``). Leads are
cut metal: they count in lengths and times, not in areas and shapes.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from planning.calc.program.types import Floats

CLOSE_MM: Final = 0.02
CLOSE_STEPS: Final = 3.0
MOST_CLOSE_MM: Final = 0.1
LEAST_SHARE: Final = 0.5


def closes_within_mm(step_mm: float) -> float:
    """How far apart two vertices that close a path may lie."""
    return max(CLOSE_MM, min(CLOSE_STEPS * step_mm, MOST_CLOSE_MM))


def longest_loop(
    x: Floats, y: Floats, run: Floats, close_mm: float = CLOSE_MM
) -> tuple[int, int] | None:
    """(first, last) vertex of the loop of a path, None where it is open. ``run`` is the length in
    mm from the start to each vertex."""
    best: tuple[float, int, int] = (LEAST_SHARE * float(run[-1]), -1, -1)
    cells: dict[tuple[int, int], int] = {}
    columns, rows = np.floor(x / close_mm).astype(int), np.floor(y / close_mm).astype(int)
    for j, (column, row) in enumerate(zip(columns.tolist(), rows.tolist(), strict=True)):
        for near in ((column + a, row + b) for a in (-1, 0, 1) for b in (-1, 0, 1)):
            i = cells.get(near)
            if i is None or math.hypot(x[i] - x[j], y[i] - y[j]) > close_mm:
                continue
            if run[j] - run[i] > best[0]:
                best = (float(run[j] - run[i]), i, j)
        cells.setdefault((column, row), j)
    return None if best[1] < 0 else (best[1], best[2])


def loop_span(points: Floats, lead_in_mm: float, lead_out_mm: float) -> tuple[int, int]:
    """(first, last) of drawn points, an (n, 2) array, that belong to the loop: the vertices nearest
    to the ends of the leads. Arcs are drawn in chords, so lengths differ by a little."""
    if len(points) < 2 or not (lead_in_mm or lead_out_mm):
        return 0, max(0, len(points) - 1)
    run = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    first = int(np.abs(run - lead_in_mm).argmin()) if lead_in_mm else 0
    last = int(np.abs(run[-1] - run - lead_out_mm).argmin()) if lead_out_mm else len(points) - 1
    return (first, last) if first < last else (0, len(points) - 1)
