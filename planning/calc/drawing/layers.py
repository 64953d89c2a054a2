"""What a layer is for, by default. Common practice, no source: shops name layers as they like, so
the default is only where the person's choice starts."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from typing import Any

from planning.calc.drawing.types import Role, legible
from planning.calc.said import said

_MARK = re.compile(r"MARK|ETCH|SCRIB|ENGRAV|STAMP|PUNCH|PLOT", re.I)
_IGNORE = re.compile(
    r"DEFPOINTS|DIM|TEXT|NOTE|TITLE|FRAME|BORDER|HATCH|CENT(?:ER|RE)|HIDDEN|CONSTR|AXIS|AXES|"
    r"BEND|FOLD|VIEW|REFERENCE|SHEET",
    re.I,
)
_DASHED = re.compile(r"CENTER|HIDDEN|DASH|DOT|PHANTOM|DIVIDE", re.I)


def defaults(document: Any, seen: Mapping[str, Counter[str]]) -> dict[str, tuple[Role, str]]:
    """Role and reason by layer: what is off, frozen or not plotted, drawn dashed or named like
    help lines is left out; what is named like marking is marked; the rest is cut."""
    known = {legible(str(layer.dxf.name)).lower(): layer for layer in document.layers}
    return {name: _default(known.get(name.lower()), name) for name in seen}


def _default(layer: Any, name: str) -> tuple[Role, str]:
    if layer is not None:
        if layer.is_off() or layer.is_frozen():
            return "ignore", said("switched off in the drawing")
        if not layer.dxf.get("plot", 1):
            return "ignore", said("set not to be plotted")
        if _DASHED.search(str(layer.dxf.get("linetype", ""))):
            return "ignore", said("its lines are not drawn through")
    if _MARK.search(name):
        return "mark", said("named like marking")
    if _IGNORE.search(name):
        return "ignore", said("named like help lines")
    return "cut", said("nothing speaks against it")
