"""Lines that came again, as the journal shows them and as they are counted."""

from __future__ import annotations

from telemetry.verify.sorting import Sorter


def too_few_repeats(expected: Sorter, stored: Sorter) -> int:
    """How many lines came again more often than is counted: each is to be counted at least as often
    as its journal shows. Closes `stored`."""
    most: dict[tuple[int, int], float] = {}
    short = 0
    want = iter(expected)
    entry = next(want, None)
    for have in stored:
        most.clear()
        while entry is not None and entry[:2] <= have[:2]:
            if entry[:2] < have[:2]:
                short += 1
            else:
                most[have[:2]] = max(most.get(have[:2], 0), entry[3])
            entry = next(want, None)
        short += most.get(have[:2], 0) > have[3]
    short += entry is not None
    short += sum(1 for _ in want)
    stored.close()
    return short
