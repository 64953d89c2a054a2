"""When the journal is written: early enough that a line is committed within its window."""

from __future__ import annotations

import time
from collections import deque

COMMIT_S = 0.05  # a line is to be committed this long after it came
_SHARE = 1.3  # times as long as a pass takes at least: more of them would only cost more each
_LAST = 9  # passes that say how long one takes


class Pace:
    """The time between two passes of the journal, from what passes took up to their commit.

    A line that just missed a pass waits for the next and then for its commit: the two together are
    to be the window. Where passes take longer than that, fewer of them carry more. What counts is
    what passes mostly take: one that the disk held up says nothing of the next, and to slow down
    for it would hold up lines for as long again.
    """

    def __init__(self) -> None:
        self._took_s: deque[float] = deque(maxlen=_LAST)
        self.began_s = time.monotonic()  # the pass that is under way, or the last

    @property
    def between_s(self) -> float:
        took_s = sorted(self._took_s)[len(self._took_s) // 2] if self._took_s else 0.0
        return min(COMMIT_S, max(COMMIT_S - took_s, _SHARE * took_s))

    def committed(self, began_s: float) -> None:
        """What the pass of then brought is stored."""
        self._took_s.append(time.monotonic() - began_s)
