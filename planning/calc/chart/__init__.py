"""The shop's cut chart: ``read_chart`` and ``lookup`` are the ways in."""

from __future__ import annotations

from planning.calc.chart.energy import cutting_efficiency, melt_energy_j_mm3
from planning.calc.chart.lookup import lookup
from planning.calc.chart.reading import read_chart
from planning.calc.chart.review import Finding, review
from planning.calc.chart.types import ChartError, ChartFigure, ChartRow

__all__ = [
    "ChartError",
    "ChartFigure",
    "ChartRow",
    "Finding",
    "cutting_efficiency",
    "lookup",
    "melt_energy_j_mm3",
    "read_chart",
    "review",
]
