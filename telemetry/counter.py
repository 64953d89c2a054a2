"""A device's pierce counter: what two readings of it say.

A reading below the last one means that the counter began again at 0: behind its last number where
the description states that (`counts_to`) and little is missing to it, else at power-up. A step of
more than MOST is no count of pierces but a number that was set, or lines that are missing.
"""

from __future__ import annotations

from typing import Final

MOST: Final = 30  # pierces between two lines


class Counter:
    """The counter of one torch. `last` is its last reading, None before the first."""

    def __init__(self, counts_to: int) -> None:
        """`counts_to` is the last number before it begins again at 0; 0 where that is unknown."""
        self._counts_to = counts_to
        self.last: int | None = None

    def step(self, reading: int, *, begins: bool) -> int:
        """Pierces since the reading before. `begins`: an arc begins here, so that of a step too
        large to be believed one pierce is left."""
        last, self.last = self.last, reading
        if last is None or reading == last:
            return 0
        pierces = reading - last
        if pierces < 0:
            around = pierces + self._counts_to + 1
            pierces = around if self._counts_to and around <= MOST else reading
        return pierces if pierces <= MOST else int(begins)
