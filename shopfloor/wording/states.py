"""States and kinds as they are said."""

from __future__ import annotations

from shopfloor.models import PieceKind, RateKind, RunState, SheetState

LABELS = {
    str(code): label
    for kind in (SheetState, PieceKind, RateKind, RunState)
    for code, label in kind.choices
}


def words(code: str) -> str:
    """A state or kind as it is said: in_stock is "in stock"."""
    return str(LABELS.get(code, code.replace("_", " ")))
