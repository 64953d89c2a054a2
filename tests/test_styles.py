"""No class in a style sheet that nothing uses, by the words of templates and code."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
ROOMS = "shopfloor", "planning", "dashboards"
# Of Django, Dash and Plotly; the widths of a strip are numbered as they are drawn.
OTHERS = {
    "errorlist", "plot-container", "dash-graph", "dash-debug-menu", "svg-container", "bg",
    "v1", "v2", "v3", "v4",
}  # fmt: skip


def _texts(*endings: str) -> str:
    files = (path for room in ROOMS for path in sorted((ROOT / room).rglob("*")))
    return "\n".join(path.read_text("utf-8") for path in files if path.suffix in endings)


def test_every_class_of_a_style_sheet_is_used():
    rules = re.sub(r"/\*.*?\*/|\{[^{}]*\}", " ", _texts(".css"), flags=re.DOTALL)
    styled = set(re.findall(r"\.([A-Za-z][\w-]*)", rules))
    used = set(re.findall(r"[A-Za-z][\w-]*", _texts(".html", ".py", ".js")))
    assert styled - used - OTHERS == set()
    assert len(styled) > 100  # it found the sheets
