"""The wear board's frames as the page reads them: by torch, the most urgent first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd

from dashboards.records import records
from planning.calc.said import restored
from planning.reports.wear_due import DueAt

KINDS = ("electrode", "swirl ring", "nozzle", "retaining cap", "shield")
URGENT = {"due": 0, "soon": 1, "unknown": 2, "no": 3, "": 3}


@dataclass(frozen=True, slots=True)
class PieceRow:
    """One fitted piece. `used` is the share of its expected life that is gone; None: unknown."""

    piece_id: int
    label: str
    kind: str
    wear_set: str
    duty: str
    fitted_at: datetime | None
    starts: int | None
    arc_s: float | None
    pit_mm: float | None
    left: int | None
    low: int | None
    high: int | None
    due: str
    basis: str
    price_minor: int | None
    charged_minor: int | None
    inch: bool = False  # whoever looks reads inches
    at: DueAt | None = None  # when it comes to its end by the list ahead

    @property
    def used(self) -> float | None:
        if self.starts is None or self.left is None:
            return None
        whole = self.starts + max(self.left, 0)
        return 1.0 if whole == 0 else self.starts / whole


@dataclass(frozen=True, slots=True)
class TorchRow:
    torch_id: int
    table: str
    torch: str
    pieces: tuple[PieceRow, ...]

    @property
    def wear_set(self) -> str:
        return self.pieces[0].wear_set if self.pieces else ""

    @property
    def duty(self) -> str:
        return self.pieces[0].duty if self.pieces else ""

    @property
    def urgent(self) -> PieceRow:
        """The piece to look at first."""
        return min(
            self.pieces,
            key=lambda piece: (
                URGENT.get(piece.due, 3),
                piece.left is None,
                piece.left if piece.left is not None else 0,
            ),
        )


def torches(fitted: pd.DataFrame) -> list[TorchRow]:
    """Torches with something in them, by table and torch."""
    found: dict[int, list[dict[str, Any]]] = {}
    for row in records(fitted):
        found.setdefault(int(row["torch_id"]), []).append(row)
    rows = [
        TorchRow(torch_id, group[0]["table"], str(group[0]["torch"]), _pieces(group))
        for torch_id, group in found.items()
    ]
    return sorted(rows, key=lambda row: (row.table, row.torch))


def _pieces(rows: Sequence[dict[str, Any]]) -> tuple[PieceRow, ...]:
    pieces = [
        PieceRow(
            int(row["piece_id"]),
            row["label"],
            row["kind"].replace("_", " "),
            row["wear_set"],
            row["duty"],
            row["fitted_at"],
            _whole(row["starts"]),
            row["arc_s"],
            row["pit_mm"],
            _whole(row["starts_left"]),
            _whole(row["left_low"]),
            _whole(row["left_high"]),
            row["due"] or "",
            restored(row["basis"]),
            row["price_minor"],
            row["charged_minor"],
        )
        for row in rows
    ]
    order = {kind: place for place, kind in enumerate(KINDS)}
    return tuple(sorted(pieces, key=lambda piece: (order.get(piece.kind, 9), piece.label)))


def _whole(value: Any) -> int | None:
    return None if value is None else int(value)
