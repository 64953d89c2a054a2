"""The shop's cut chart: reading it, looking a thickness up in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class ChartError(ValueError):
    """A chart that cannot be read, or a question it cannot answer. ``line`` counts from 1."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(f"line {line}: {message}")
        self.line = line
        self.message = message


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One row, SI inside; None is "not given". ``line`` is its place in the file (0: none)."""

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


@dataclass(frozen=True, slots=True)
class ChartFigure:
    """What the chart says for one thickness, and the row or two rows it was read from."""

    row: ChartRow
    rows: tuple[ChartRow, ...]
    start: str
    warnings: tuple[str, ...] = ()


def read_chart(text: bytes) -> list[ChartRow]:
    """Rows of a chart CSV. Raises ``ChartError`` naming the line."""
    raise NotImplementedError


def lookup(
    rows: Sequence[ChartRow],
    set: str,
    material: str,
    thickness_mm: float,
    *,
    edge_start: bool = False,
) -> ChartFigure:
    """The figures for a thickness, interpolated between rows of the same set and material."""
    raise NotImplementedError
