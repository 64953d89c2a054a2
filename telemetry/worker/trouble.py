"""A fault of one source: noted with its reason, counted, and tried again with growing pauses."""

from __future__ import annotations

import logging
import time

from django.db import InterfaceError, OperationalError, ProgrammingError
from django.utils.translation import gettext as _

from telemetry.errors import TelemetryError

log = logging.getLogger("telemetry.worker")
_FIRST_S, _LAST_S = 1.0, 60.0
# The database is away, locked or migrating: a matter of all sources. Any other error of it is
# about the rows of one.
AWAY = (OperationalError, InterfaceError, ProgrammingError)


class Trouble:
    """What keeps one source from being read or stored; "" while nothing does."""

    def __init__(self, name: str) -> None:
        self._name = name
        self.reason = ""
        self.times = 0
        self.since_us = self.since_mono_us = 0
        self._wait_s = 0.0
        self._until_s = 0.0

    def __bool__(self) -> bool:
        return bool(self.reason)

    @property
    def rests(self) -> bool:
        """Whether it is to be left alone for now."""
        return bool(self) and time.monotonic() < self._until_s

    def note(self, what: str, error: Exception) -> None:
        """`what` cannot be done. The trace is logged when it is new, the count each time."""
        words = str(error) if isinstance(error, (TelemetryError, OSError)) else repr(error)
        reason = " ".join(f"{what}: {words}".split())
        if not self or reason != self.reason:
            log.error("%s: %s", self._name, reason, exc_info=error)
        if not self:
            self.since_us, self.since_mono_us = time.time_ns() // 1000, time.monotonic_ns() // 1000
        self.reason = reason
        self.times += 1
        self._wait_s = min(max(self._wait_s * 2, _FIRST_S), _LAST_S)
        self._until_s = time.monotonic() + self._wait_s

    def over(self) -> None:
        if self:
            log.info("%s: goes on, after %d times", self._name, self.times)
        self.reason, self.times, self._wait_s = "", 0, 0.0

    @property
    def words(self) -> str:
        """For a page: the reason, and how often it was tried."""
        if self.times <= 1:
            return self.reason
        return _("{reason} (tried {times} times)").format(reason=self.reason, times=self.times)
