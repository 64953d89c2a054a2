"""Burning that a person entered for a time in which a torch's source was silent."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from planning.calc.spans import Span, intersect, subtract


@dataclass(frozen=True, slots=True)
class Entry:
    """Within `span` (microseconds) the torch had `starts` starts and burnt `burning_us`. Our
    assumption: both are spread evenly over that time."""

    torch: str
    span: Span
    starts: int
    burning_us: int

    def within(self, spans: Iterable[Span]) -> tuple[int, int]:
        """Starts and microseconds of burning in these times, which must not overlap. The parts of
        a time cut in pieces add up to the whole."""
        parts = intersect([self.span], list(spans))
        return self._share(self.starts, parts), self._share(self.burning_us, parts)

    def _share(self, whole: int, parts: list[Span]) -> int:
        begin, end = self.span
        return sum(
            whole * (to - begin) // (end - begin) - whole * (since - begin) // (end - begin)
            for since, to in parts
        )


def split_entered(
    unknown: list[Span], entries: Iterable[Entry]
) -> tuple[list[Span], list[tuple[list[Span], int]]]:
    """What of unheard time stays unknown, and by entry the time it covers and the microseconds of
    it that burnt. Of two entries for the same time the one that burnt longer counts."""
    parts = []
    for entry in sorted(entries, key=lambda one: one.burning_us, reverse=True):
        covered = intersect(unknown, [entry.span])
        unknown = subtract(unknown, [entry.span])
        if covered:
            parts.append((covered, entry.within(covered)[1]))
    return unknown, parts
