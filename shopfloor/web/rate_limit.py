"""How often something may be asked for, counted in this process alone."""

from __future__ import annotations

import threading
import time
from collections.abc import Hashable

_MOST_KEYS = 10_000


class RateLimit:
    """At most `burst` at once and `per_s` a second in the long run, for each key by itself."""

    def __init__(self, *, per_s: float, burst: int) -> None:
        self._per_s, self._burst = per_s, float(burst)
        self._left: dict[Hashable, tuple[float, float]] = {}
        self._lock = threading.Lock()

    def wait_s(self, key: Hashable, *, now: float | None = None) -> float:
        """Takes one; 0 where it may be had, else in how many seconds to ask again."""
        now = time.monotonic() if now is None else now
        with self._lock:
            if len(self._left) >= _MOST_KEYS:
                self._left.clear()
            left, at = self._left.get(key, (self._burst, now))
            left = min(self._burst, left + (now - at) * self._per_s)
            if left < 1:
                self._left[key] = (left, now)
                return (1 - left) / self._per_s
            self._left[key] = (left - 1, now)
            return 0.0
