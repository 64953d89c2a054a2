"""How large a grown shop is."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from planning.bench.bigshop.clock import Back


@dataclass(frozen=True, slots=True)
class Size:
    """`pairs` of tables; `blocks` of time, of `days` each (whole weeks), back from now. Events are
    copied for the newest block only: pages read arcs and sums."""

    pairs: int
    blocks: int
    days: int

    def backs(self, zone: ZoneInfo) -> list[Back]:
        """The oldest first."""
        return [Back(self.days * block, zone) for block in reversed(range(self.blocks))]
