"""How often each of the latest things came. Pure."""

from __future__ import annotations

_REMEMBER = 1_000


class RecentCounts:
    """Counts by key, of the keys that came last. What it remembers depends on the order things came
    in and never on how they were split into blocks."""

    def __init__(self, counts: dict[str, int]) -> None:
        self.counts = counts  # as JSON values, the key that came last behind all others

    def before(self, key: str) -> int:
        """How often it came before; counts it once more."""
        times = self.counts.pop(key, 0)
        self.counts[key] = times + 1
        if len(self.counts) > _REMEMBER:
            del self.counts[next(iter(self.counts))]
        return times
