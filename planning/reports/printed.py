"""A closed month as it was printed."""

from __future__ import annotations

from typing import Any

from planning.reports.shapes import CostMonth


def to_print(month: CostMonth) -> dict[str, Any]:
    raise NotImplementedError
