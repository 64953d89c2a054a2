"""From plan to actual: one row a step, each bar where the one before it ended."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from dashboards.ledgers.cost import Bridge, Step
from dashboards.theme import Palette, bar_style, signed, template
from dashboards.theme import money as written

ROW_PX = 30
LABEL_PX = 172
FIGURE_PX = 76


def height_px(bridge: Bridge) -> int:
    return ROW_PX * (len(bridge.steps) + 2) + 56


def steps_figure(bridge: Bridge, palette: Palette, *, currency: str, digits: int) -> dict[str, Any]:
    """Amounts in whole units of the currency along x. Hatched cost more, open cost less, vermilion
    and bold is off plan; a light upright joins each bar to the next."""
    scale = 10**digits
    names = [_("Planned"), *(step.name for step in bridge.steps), _("Actual")]
    rows = list(range(len(names)))
    levels = _levels(bridge)
    bars = []
    for kind in ("more", "less", "off"):
        chosen = [row for row, step in enumerate(bridge.steps, 1) if _kind(step) == kind]
        if not chosen:
            continue
        bars.append(
            {
                "type": "bar",
                "orientation": "h",
                "y": chosen,
                "base": [levels[row - 1] / scale for row in chosen],
                "x": [bridge.steps[row - 1].minor / scale for row in chosen],
                "width": 0.44,
                "marker": bar_style(palette, kind),
                "hovertext": [_said(bridge.steps[row - 1], currency, digits) for row in chosen],
                "hoverinfo": "text",
            }
        )
    layout = {
        "template": template(palette),
        "shapes": _shapes(bridge, levels, palette, scale),
        "annotations": _words(bridge, names, palette, digits),
        "margin": {"l": LABEL_PX, "r": FIGURE_PX, "t": 34, "b": 10},
        "bargap": 0,
        "xaxis": {
            "side": "top",
            "range": _range(levels, scale),
            "tickformat": "~s",
            "tickangle": 0,
            "nticks": 4,
            "showline": False,
            "ticks": "",
            "title": {"text": _("cost, {currency}").format(currency=currency), "standoff": 4},
        },
        "yaxis": {"range": [rows[-1] + 0.6, -0.6], "visible": False},
    }
    return {"data": bars, "layout": layout}


def _kind(step: Step) -> str:
    if step.off:
        return "off"
    return "more" if step.minor > 0 else "less"


def _levels(bridge: Bridge) -> list[int]:
    """The amount before each step, and after the last."""
    levels = [bridge.planned_minor]
    for step in bridge.steps:
        levels.append(levels[-1] + step.minor)
    return levels


def _range(levels: Sequence[int], scale: int) -> list[float]:
    low, high = min(levels) / scale, max(levels) / scale
    room = max(high - low, abs(high) * 0.01, 1.0) * 0.14
    return [low - room, high + room]


def _shapes(
    bridge: Bridge, levels: list[int], palette: Palette, scale: int
) -> list[dict[str, Any]]:
    last = len(bridge.steps) + 1

    def mark(row: float, until: float, level: int, colour: str, width: float) -> dict[str, Any]:
        at = level / scale
        line = {"color": colour, "width": width}
        return {"type": "line", "x0": at, "x1": at, "y0": row, "y1": until, "line": line}

    def rule(row: float, colour: str, width: float = 1) -> dict[str, Any]:
        """A line under a row, over the labels and figures too: drawn in parts of the plot."""
        return {
            "type": "line",
            "xref": "paper",
            "x0": -5,
            "x1": 5,
            "y0": row,
            "y1": row,
            "line": {"color": colour, "width": width},
            "layer": "below",
        }

    drawn = [rule(row + 0.5, palette.rule) for row in range(last - 1)]
    drawn += [rule(last - 0.5, palette.ink), rule(last + 0.47, palette.ink)]
    drawn.append(rule(last + 0.57, palette.ink))
    drawn.append(mark(-0.4, 0.4, bridge.planned_minor, palette.pencil, 2.5))
    for row, level in enumerate(levels[1:], 1):
        if row < last - 1 or bridge.steps:
            drawn.append(mark(row + 0.22, min(row + 0.78, last - 0.4), level, palette.edge, 1))
    drawn.append(mark(last - 0.4, last + 0.32, bridge.actual_minor, palette.ink, 3))
    return drawn


def _words(
    bridge: Bridge, names: Sequence[str], palette: Palette, digits: int
) -> list[dict[str, Any]]:
    said = [
        written(bridge.planned_minor, digits, whole=True),
        *(signed(step.minor, digits) for step in bridge.steps),
        written(bridge.actual_minor, digits, whole=True),
    ]
    strong = [True, *(step.off for step in bridge.steps), True]
    found = []
    for row, (name, amount, bold) in enumerate(zip(names, said, strong, strict=True)):
        colour = palette.off if bold and 0 < row < len(names) - 1 else palette.ink
        for text, x, anchor, shift in (
            (name, 0, "left", -LABEL_PX),
            (amount, 1, "right", FIGURE_PX),
        ):
            found.append(
                {
                    "text": f"<b>{text}</b>" if bold else text,
                    "xref": "paper",
                    "x": x,
                    "xanchor": anchor,
                    "xshift": shift,
                    "y": row,
                    "showarrow": False,
                    "font": {"size": 15, "color": colour},
                }
            )
    return found


def _said(step: Step, currency: str, digits: int) -> str:
    return f"{step.name}: {signed(step.minor, digits)} {currency}"
