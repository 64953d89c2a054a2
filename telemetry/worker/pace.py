"""When the journal is written: early enough that a line is committed within its window."""

from __future__ import annotations

import time

COMMIT_S = 0.05  # a line is to be committed this long after it came
_SHARE = 1.5  # times as long as a pass takes at least: more of them would only cost more each
_FORGET = 0.97  # how fast a slow pass is forgotten


class Pace:
    """The time between two passes of the journal, from what passes took up to their commit.

    A line that just missed a pass waits for the next and then for its commit: the two together are
    to be the window. Where passes take longer than that, fewer of them carry more.
    """

    def __init__(self) -> None:
        self._took_s = 0.0
        self.began_s = time.monotonic()  # the pass that is under way, or the last

    @property
    def between_s(self) -> float:
        return min(COMMIT_S, max(COMMIT_S - self._took_s, _SHARE * self._took_s))

    def committed(self, began_s: float) -> None:
        """What the pass of then brought is stored."""
        self._took_s = max(time.monotonic() - began_s, self._took_s * _FORGET)
