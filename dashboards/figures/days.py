"""Minutes cut fine and fast, day by day: what was planned beside what was burnt."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from dashboards.ledgers.balance import Day
from dashboards.theme import Palette, bar_style, template

HEIGHT_PX = 372


def days_figure(days: Sequence[Day], palette: Palette, *, today: date) -> dict[str, Any]:
    """Torch minutes up the page, shift dates along it. Solid is fast, hatched is fine, open in
    pencil beside them is what was planned, fine on top of fast."""
    bars = []
    dates = [day.day.isoformat() for day in days]
    for name, fill, dim in (
        ("fast", bar_style(palette, "fast"), False),
        ("fine", bar_style(palette, "fine"), False),
        ("unassigned", bar_style(palette, "off"), False),
        ("fast", bar_style(palette, "planned"), True),
        ("fine", bar_style(palette, "planned"), True),
    ):
        minutes = [(day.planned if dim else day.burnt)[name] or None for day in days]
        if not any(minutes):
            continue
        what = "planned" if dim else "burnt"
        said = "without a run" if name == "unassigned" else name
        bars.append(
            {
                "type": "bar",
                "x": dates,
                "y": minutes,
                "name": f"{said}, {what}",
                "offsetgroup": what,
                "marker": fill,
                "hovertemplate": f"%{{x|%a %d %b}}: %{{y:,.0f}} min {said}, {what}<extra></extra>",
            }
        )
    layout: dict[str, Any] = {
        "template": template(palette),
        "barmode": "stack",
        "bargap": 0.25,
        "bargroupgap": 0.08,
        "margin": {"l": 58, "r": 12, "t": 26, "b": 54},
        "xaxis": {
            "title": {"text": "shift date"},
            "tickformat": "%-d %b",
            "range": _range(days),
            "showgrid": False,
            "nticks": 8,
            "tickangle": 0,
        },
        "yaxis": {
            "title": {"text": "torch time, min"},
            "rangemode": "tozero",
            "tickformat": ",.0f",
        },
    }
    if any(day.day == today for day in days):
        layout["annotations"] = [
            {
                "x": today.isoformat(),
                "y": 1.0,
                "yref": "paper",
                "yanchor": "bottom",
                "text": "<i>today</i>",
                "showarrow": False,
                "font": {"size": 13, "color": palette.ink2},
            }
        ]
    return {"data": bars, "layout": layout}


def _range(days: Sequence[Day]) -> list[str]:
    if not days:
        return []
    before = days[0].day - timedelta(days=1)
    return [f"{before}T12:00:00", f"{days[-1].day}T12:00:00"]
