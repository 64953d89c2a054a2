"""What a cut chart says, and how it says that it cannot."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final, Literal

from planning.calc.said import said

Start = Literal["pierce", "edge"]


class ChartError(ValueError):
    """A chart that cannot be read, or a question it must not answer. ``line`` counts from 1."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(said("line {line}: {message}", line=line, message=message))
        self.line = line
        self.message = message


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One row, SI inside; None is "not given". ``line`` is its place in the file (0: none).

    ``thickness_text`` is the thickness as typed.
    """

    set: str
    material: str
    thickness_mm: float
    speed_mm_min: float
    duty: str = ""
    gas: str = ""
    current_a: float | None = None
    pierce_delay_s: float | None = None
    touch_off_s: float | None = None
    pierce_height_mm: float | None = None
    cut_height_mm: float | None = None
    arc_v: float | None = None
    kerf_mm: float | None = None
    max_pierce_mm: float | None = None
    line: int = 0
    thickness_text: str = ""


# The numbers of a row by their names, which end in their unit; the thickness they hold for apart.
FIGURES: Final = tuple(
    each.name
    for each in fields(ChartRow)
    if each.type in ("float", "float | None") and each.name != "thickness_mm"
)
# Figures that nothing is cut with at 0. Any other may be 0.
NEVER_ZERO: Final = frozenset(
    ("current_a", "speed_mm_min", "pierce_height_mm", "cut_height_mm", "arc_v", "kerf_mm")
)


@dataclass(frozen=True, slots=True)
class ChartFigure:
    """What the chart says for one thickness.

    ``row`` holds the figures, ``rows`` the one or two rows they were read from (two: interpolated),
    ``start`` how the cut may begin, ``efficiency`` the share of the arc's power that melts the kerf
    (None: not to be worked out), ``warnings`` what a person should look at.
    """

    row: ChartRow
    rows: tuple[ChartRow, ...]
    start: Start
    efficiency: float | None
    warnings: tuple[str, ...] = ()
