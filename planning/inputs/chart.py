"""The chart rows in force, as calc reads them; `line` carries the row's id."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import Q

from planning.calc.chart import ChartRow
from shopfloor import models
from shopfloor.chart.cut_settings import CHART_NAMES
from shopfloor.chart.fit import equal_mm


def rows_in_force(*, material_id: int, at: datetime) -> list[models.ChartRow]:
    """Rows of one material that hold at a moment, of sets in use."""
    return list(
        models.ChartRow.objects.filter(
            Q(valid_to=None) | Q(valid_to__gt=at),
            material=material_id,
            valid_from__lte=at,
            wear_set__active=True,
        )
        .select_related("wear_set", "material")
        .order_by("wear_set", "thickness_mm", "pk")
    )


def calc_rows(rows: Sequence[models.ChartRow]) -> list[ChartRow]:
    return [
        ChartRow(
            set=row.wear_set.code,
            material=row.material.code,
            thickness_mm=row.thickness_mm,
            duty=row.wear_set.duty,
            gas=row.wear_set.gas,
            current_a=row.wear_set.current_a,
            line=row.pk,
            thickness_text=row.thickness_text,
            **_figures(row),
        )
        for row in rows
    ]


def _figures(row: models.ChartRow) -> dict[str, Any]:
    return {name: getattr(row, name) for name in CHART_NAMES}


def between(rows: Sequence[models.ChartRow], name: str, thickness_mm: float) -> float | None:
    """A figure of the shop's own that the calc chart does not carry (`u_mm`,
    `bench_min_per_m`), linear in thickness between the rows used; None where one lacks it."""
    values = [(row.thickness_mm, getattr(row, name)) for row in rows]
    if not values or any(value is None for _, value in values):
        return None
    (low, first), (high, last) = values[0], values[-1]
    if high == low:
        return float(first)
    return float(first + (last - first) * (thickness_mm - low) / (high - low))


def answered_row_mm(
    *, material_id: int, thickness_mm: float
) -> dict[float, models.ThicknessAnswer]:
    """Thicknesses of rows (to 1e-6 mm) by which a person said this thickness is cut."""
    said = models.ThicknessAnswer.objects.filter(
        material=material_id,
        thickness_mm__range=equal_mm(thickness_mm),
        by_row=True,
    ).select_related("by")
    return {round(answer.row_mm, 6): answer for answer in said}
