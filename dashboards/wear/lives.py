"""Drawings of what was learned of the pieces in a torch."""

from __future__ import annotations

from typing import Any

from dashboards.figures.pit import Usual
from dashboards.ledgers.wear import PieceRow, TorchRow
from planning.reports.survival import PartLife
from shopfloor.svg.survival import sentence, survival_figure

WIDTHS = 358, 560
KINDS = ("electrode", "nozzle")  # what wears by the day


def context(torch: TorchRow, lives: dict[int, PartLife]) -> dict[str, Any]:
    """For each electrode and nozzle of the torch how many like it still burn."""
    drawn = []
    for piece in torch.pieces:
        life = lives.get(piece.piece_id)
        if piece.kind in KINDS and life is not None and life.still is not None:
            figures = [survival_figure(life.still, width) for width in WIDTHS]
            drawn.append((piece, figures, sentence(life.still)))
    return {"still": drawn}


def usual_wear(piece: PieceRow, lives: dict[int, PartLife]) -> Usual | None:
    """How pits of pieces like it grow, with arc for each start as this one has had."""
    life = lives.get(piece.piece_id)
    if life is None or life.per_start is None:
        return None
    arc = piece.arc_s / piece.starts if piece.starts and piece.arc_s else 0.0
    slope = life.per_start + life.per_arc_s * arc
    if slope <= 0:
        return None
    low, high = life.pit_between or (1.0, 1.0)
    return Usual(slope, low * slope, high * slope)
