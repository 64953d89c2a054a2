"""The invented shop's trials of a metal it seldom cuts. Computed like its chart: example values."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from shopfloor.chart.cut_settings import TRIAL_NAMES
from shopfloor.demo.chart import NOTE
from shopfloor.models import ChartRow, ChartTrial, Table, User

# share of the row's speed, of its u, whether it cut through, dross, what was seen
TRIED = (
    (1.30, None, False, "", "did not cut through, sparks thrown up"),
    (1.00, 1.15, True, "loose", "through; a little bevel on the left"),
    (0.85, 1.00, True, "hard", "square, but the dross has to be ground off"),
)


def trials(*, now: datetime) -> None:
    """Three cuts of the thickest stainless, tried on scrap two weeks ago."""
    row = (
        ChartRow.objects.filter(material__family="stainless", valid_to=None)
        .select_related("wear_set")
        .order_by("-thickness_mm")
        .first()
    )
    operator = User.objects.filter(role="operator").order_by("pk").first()
    table = Table.objects.order_by("order").first()
    if row is None or operator is None:
        return
    at = (now - timedelta(days=14)).replace(minute=0, second=0, microsecond=0)
    ChartTrial.objects.bulk_create(
        ChartTrial(
            wear_set=row.wear_set,
            material_id=row.material_id,
            thickness_mm=row.thickness_mm,
            thickness_text=row.thickness_text,
            table=table,
            **_tried(row, speed, u, through),
            severed=through,
            dross=dross,
            note=f"{seen} ({NOTE})",
            at=at + timedelta(minutes=12 * place),
            by=operator,
        )
        for place, (speed, u, through, dross, seen) in enumerate(TRIED)
    )


def _tried(row: ChartRow, speed: float, u: float | None, through: bool) -> dict[str, Any]:
    return {name: getattr(row, name, None) for name in TRIAL_NAMES} | {
        "current_a": row.wear_set.current_a,
        "speed_mm_min": round(row.speed_mm_min * speed, -1),
        "kerf_mm": row.kerf_mm if through else None,
        "u_mm": None if u is None or row.u_mm is None else round(row.u_mm * u, 2),
    }
