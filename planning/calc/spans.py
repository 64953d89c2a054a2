"""Sets of time as sorted, disjoint spans `(from_us, to_us)`, in integer microseconds."""

from __future__ import annotations

from collections.abc import Iterable

Span = tuple[int, int]


def union(spans: Iterable[Span]) -> list[Span]:
    """The time covered by any span; empty and backward ones count for nothing."""
    merged: list[Span] = []
    for start, end in sorted(span for span in spans if span[1] > span[0]):
        if merged and start <= merged[-1][1]:
            if end > merged[-1][1]:
                merged[-1] = (merged[-1][0], end)
        else:
            merged.append((start, end))
    return merged


def intersect(left: list[Span], right: list[Span]) -> list[Span]:
    """The time in both. Both must be sorted and disjoint, as `union` gives them."""
    found: list[Span] = []
    i = j = 0
    while i < len(left) and j < len(right):
        begin, until = left[i]
        other_begin, other_until = right[j]
        start = begin if begin > other_begin else other_begin
        end = until if until < other_until else other_until
        if start < end:
            found.append((start, end))
        if until < other_until:
            i += 1
        else:
            j += 1
    return found


def subtract(left: list[Span], right: list[Span]) -> list[Span]:
    """The time in `left` and not in `right`; both sorted and disjoint."""
    found: list[Span] = []
    j = 0
    for start, end in left:
        while j < len(right) and right[j][1] <= start:
            j += 1
        at, k = start, j
        while k < len(right) and right[k][0] < end:
            if right[k][0] > at:
                found.append((at, right[k][0]))
            at = max(at, right[k][1])
            k += 1
        if at < end:
            found.append((at, end))
    return found


def shared_us(span: Span, others: Iterable[Span]) -> int:
    """Microseconds of a span with an end behind its start that lie in the others, which
    are disjoint."""
    start, end = span
    return sum(
        min(end, other_end) - max(start, other_start)
        for other_start, other_end in others
        if other_start < end and start < other_end
    )


def length(spans: Iterable[Span]) -> int:
    """Microseconds covered by disjoint spans."""
    return sum(end - start for start, end in spans)
