"""Minutes cut by each duty, day by day: what was planned beside what was burnt."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext as _

from dashboards.ledgers.balance import Day
from dashboards.theme import Palette, bar_style, duty_style, template
from planning.calc.balance import UNASSIGNED
from planning.calc.dates import DAY, WEEKDAY, dated
from shopfloor.chart.duties import DUTIES, UNKNOWN, duty_word

HEIGHT_PX = 372


def days_figure(days: Sequence[Day], palette: Palette, *, today: date) -> dict[str, Any]:
    """Torch minutes up the page, shift dates along it. Each duty has its
    filling; open in pencil beside them is what was planned. The squarest duty is on top."""
    bars = []
    dates = [day.day.isoformat() for day in days]
    for code, said, fill, dim in _stacks(palette):
        minutes = [(day.planned if dim else day.burnt).get(code) or None for day in days]
        if not any(minutes):
            continue
        what = "planned" if dim else "burnt"
        name = (_("{duty}, planned") if dim else _("{duty}, burnt")).format(duty=said)
        hover = _("{day}: {minutes} min {name}").format(
            day="%{customdata}", minutes="%{y:,.0f}", name=name
        )
        bars.append(
            {
                "type": "bar",
                "x": dates,
                "y": minutes,
                "name": name,
                "offsetgroup": what,
                "marker": fill,
                "customdata": [dated(day.day, WEEKDAY) for day in days],
                "hovertemplate": f"{hover}<extra></extra>",
            }
        )
    layout: dict[str, Any] = {
        "template": template(palette),
        "barmode": "stack",
        "bargap": 0.25,
        "bargroupgap": 0.08,
        "margin": {"l": 58, "r": 12, "t": 26, "b": 54},
        "xaxis": {
            "title": {"text": _("shift date")},
            "tickvals": dates[:: max(1, len(days) // 8)],
            "ticktext": [dated(day.day, DAY) for day in days[:: max(1, len(days) // 8)]],
            "range": _range(days),
            "showgrid": False,
            "tickangle": 0,
        },
        "yaxis": {
            "title": {"text": _("torch time, min")},
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
                "text": f"<i>{_('today')}</i>",
                "showarrow": False,
                "font": {"size": 13, "color": palette.ink2},
            }
        ]
    return {"data": bars, "layout": layout}


def _stacks(palette: Palette) -> list[tuple[str, str, dict[str, Any], bool]]:
    """What is stacked, from the ground up: its name, how it is called, its filling, and whether it
    is planned."""
    planned, unknown = bar_style(palette, "planned"), bar_style(palette, "less")
    burnt = [
        (duty.code, str(duty.label), duty_style(palette, duty.hatch), False)
        for duty in reversed(DUTIES)
    ]
    return [
        *burnt,
        (UNKNOWN, duty_word(UNKNOWN), unknown, False),
        (UNASSIGNED, _("without a run"), bar_style(palette, "off"), False),
        *((name, said, planned, True) for name, said, _, _ in burnt),
        (UNKNOWN, duty_word(UNKNOWN), planned, True),
    ]


def _range(days: Sequence[Day]) -> list[str]:
    if not days:
        return []
    before = days[0].day - timedelta(days=1)
    return [f"{before}T12:00:00", f"{days[-1].day}T12:00:00"]
