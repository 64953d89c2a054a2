"""Figures for a thickness, from the rows on either side of it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

from planning.calc.chart.energy import cutting_efficiency, is_impossible, unlikely
from planning.calc.chart.types import FIGURES, ChartError, ChartFigure, ChartRow, Start
from planning.calc.said import said
from planning.calc.units import MM_PER_IN

_SAME: Final = 1e-6


def lookup(
    rows: Sequence[ChartRow],
    set: str,
    material: str,
    thickness_mm: float,
    *,
    gas: str | None = None,
    edge_start: bool = False,
) -> ChartFigure:
    """The figures for a thickness in mm, from rows of the same set and material (and gas).

    On a row: its own figures. Between two: log-log in thickness (ln y linear in ln t; a figure that
    is 0 in one row is taken linearly; one that is blank in one row stays unknown). Log-log is the
    usual form for cutting speed and our assumption for the rest. Raises ``ChartError`` with a
    row's line: beyond the ends, above the pierce limit without ``edge_start``, for a speed that
    needs more power than volts x amps.
    """
    fitting = _fitting(rows, set, material, gas)
    below, above = _around(fitting, thickness_mm)
    row = below if below is above else _between(below, above, thickness_mm)
    used = (below,) if below is above else (below, above)
    start = _start(row, edge_start)
    efficiency = cutting_efficiency(row)
    warnings: list[str] = []
    if efficiency is not None:
        if is_impossible(row, efficiency):
            raise ChartError(
                row.line,
                said(
                    "a speed of {0:/min.6g} in {1} needs {efficiency:.3g} times the power "
                    "the arc has (volts x amps)",
                    row.speed_mm_min,
                    row.thickness_mm,
                    efficiency=efficiency,
                ),
            )
        if doubt := unlikely(efficiency):
            warnings.append(doubt)
    if below is not above:
        warnings.append(
            said(
                "{0:.4g} is between the rows for {1:.4g} and {2:.4g}: interpolated",
                thickness_mm,
                below.thickness_mm,
                above.thickness_mm,
            )
        )
    if start == "edge":
        limit = row.max_pierce_mm or 0.0
        warnings.append(said("above the pierce limit of {0}: edge start only", limit))
    return ChartFigure(row, used, start, efficiency, tuple(warnings))


def _fitting(rows: Sequence[ChartRow], set: str, material: str, gas: str | None) -> list[ChartRow]:
    line = rows[0].line if rows else 1
    of_set = [row for row in rows if _alike(row.set, set)]
    if not of_set:
        raise ChartError(
            line,
            _with_choices(said("there is no row for set {set!r}", set=set), (r.set for r in rows)),
        )
    fitting = [row for row in of_set if _alike(row.material, material)]
    if not fitting:
        lacks = said(
            "there is no row for set {set!r} in material {material!r}", set=set, material=material
        )
        known = (r.material for r in of_set)
        raise ChartError(of_set[0].line, _with_choices(lacks, known))
    if gas is not None:
        of_gas = [row for row in fitting if _alike(row.gas, gas)]
        if not of_gas:
            lacks = said("there is no row with gas {gas!r}", gas=gas)
            known = (r.gas for r in fitting)
            raise ChartError(fitting[0].line, _with_choices(lacks, known))
        fitting = of_gas
    fitting.sort(key=lambda row: row.thickness_mm)
    for one, other in itertools.pairwise(fitting):
        if other.thickness_mm - one.thickness_mm <= _SAME:
            raise ChartError(
                other.line,
                said(
                    "set {set!r}, {material!r}, {0:.4g} has a row on line {line} too",
                    other.thickness_mm,
                    set=set,
                    material=material,
                    line=one.line,
                ),
            )
    return fitting


def _around(fitting: list[ChartRow], thickness_mm: float) -> tuple[ChartRow, ChartRow]:
    if not (math.isfinite(thickness_mm) and thickness_mm > 0):
        raise ChartError(fitting[0].line, said("{0} is not a thickness", thickness_mm))
    for row in fitting:
        if abs(row.thickness_mm - thickness_mm) <= _SAME:
            return row, row
    thinnest, thickest = fitting[0], fitting[-1]
    if not thinnest.thickness_mm < thickness_mm < thickest.thickness_mm:
        end = thinnest if thickness_mm < thinnest.thickness_mm else thickest
        raise ChartError(end.line, _beyond(thinnest, thickest, thickness_mm))
    at = next(i for i, row in enumerate(fitting) if row.thickness_mm > thickness_mm)
    return fitting[at - 1], fitting[at]


def _beyond(thinnest: ChartRow, thickest: ChartRow, thickness_mm: float) -> str:
    low, high = thinnest.thickness_mm, thickest.thickness_mm
    sizes = (thickness_mm, low, high)
    asked = {"set": thinnest.set, "material": thinnest.material}
    meant_inches, meant_mm = thickness_mm * MM_PER_IN, thickness_mm / MM_PER_IN
    if low - _SAME <= meant_inches <= high + _SAME:
        return said(
            "{0:.4g} is beyond the rows for set {set!r} in {material!r}, which go from "
            "{1:n.4g} to {2:.4g}; were inches meant ({3:.4g})?",
            *sizes,
            meant_inches,
            **asked,
        )
    if low - _SAME <= meant_mm <= high + _SAME:
        return said(
            "{0:.4g} is beyond the rows for set {set!r} in {material!r}, which go from "
            "{1:n.4g} to {2:.4g}; were mm meant ({3:.4g})?",
            *sizes,
            meant_mm,
            **asked,
        )
    return said(
        "{0:.4g} is beyond the rows for set {set!r} in {material!r}, which go from {1:n.4g} to "
        "{2:.4g}",
        *sizes,
        **asked,
    )


def _between(below: ChartRow, above: ChartRow, thickness_mm: float) -> ChartRow:
    """A row interpolated for ``thickness_mm``; it carries the line of the lower one."""
    share = math.log(thickness_mm / below.thickness_mm) / math.log(
        above.thickness_mm / below.thickness_mm
    )
    if not _alike(below.gas, above.gas):
        raise ChartError(
            above.line,
            said("nothing to interpolate: the row on line {line} has another gas", line=below.line),
        )
    limits = [r.max_pierce_mm for r in (below, above) if r.max_pierce_mm is not None]
    figures: dict[str, Any] = {
        name: _figure(getattr(below, name), getattr(above, name), share) for name in FIGURES
    }
    return replace(
        below,
        thickness_mm=thickness_mm,
        thickness_text="",
        duty=below.duty if _alike(below.duty, above.duty) else "",
        **(figures | {"max_pierce_mm": min(limits) if limits else None}),
    )


def _figure(a: float | None, b: float | None, share: float) -> float | None:
    if a is None or b is None:
        return None
    if a > 0 and b > 0:
        return math.exp((1 - share) * math.log(a) + share * math.log(b))
    return (1 - share) * a + share * b


def _start(row: ChartRow, edge_start: bool) -> Start:
    limit = row.max_pierce_mm
    if limit is None or row.thickness_mm <= limit + _SAME:
        return "pierce"
    if not edge_start:
        raise ChartError(
            row.line,
            said(
                "{0:.4g} is above the pierce limit of {1:.4g}: it can only be cut with an edge "
                "start",
                row.thickness_mm,
                limit,
            ),
        )
    return "edge"


def _alike(a: str, b: str) -> bool:
    return " ".join(a.split()).casefold() == " ".join(b.split()).casefold()


def _with_choices(lacks: str, names: Iterable[str]) -> str:
    known = sorted({name for name in names if name})
    if not known:
        return lacks
    return said("{lacks}; there are {known}", lacks=lacks, known=", ".join(known[:8]))
