"""A device's pierce counter: what two readings of it say.

A lower reading is one of three things. Where the description states the counter's last number
(`counts_to`) and little is missing to it, the counter ran past that and began again at 0. A number
a little below the last one is a slip: it says nothing, and the higher one stays. Anything else
began again at 0, as after power-up. A step of more than MOST is no count of pierces but a number
that was set, or lines that are missing.
"""

from __future__ import annotations

from typing import Final

MOST: Final = 30  # pierces between two lines
NEAR: Final = 3  # numbers; so little below the last reading is a slip even of a small counter


class Counter:
    """The counter of one torch. `last` is the reading it goes up from, None before the first."""

    def __init__(self, counts_to: int) -> None:
        """`counts_to` is the last number before it begins again at 0; 0 where that is unknown."""
        self._counts_to = counts_to
        self.last: int | None = None

    def step(self, reading: int) -> int | None:
        """What it went up since the reading before, not to be believed above MOST; 0 at the first
        reading, None where the reading is a slip."""
        last = self.last
        up = 0 if last is None else self._up(last, reading)
        if up is not None:
            self.last = reading
        return up

    def _up(self, last: int, reading: int) -> int | None:
        up, back = reading - last, last - reading
        if self._counts_to:
            round_it = self._counts_to + 1
            if up > MOST and back + round_it <= NEAR:
                return None
            if up < 0 and up + round_it <= min(MOST, back):
                return up + round_it
        if up >= 0:
            return up
        is_slip = back <= NEAR or (back <= MOST and 2 * reading >= last)
        return None if is_slip and reading else reading
