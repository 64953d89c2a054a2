"""Reads many ports on one thread: a hundred threads that wake for every line cost more than the
lines, and hold each other up.

A reader's own thread opens its port, waits here while it is open, and closes it: opening, backing
off and what a broken link means stay there, for each by itself.
"""

from __future__ import annotations

import select
import threading
import time
from collections.abc import Callable, Sequence
from typing import Protocol

from telemetry.feeds.base import Chunk

_WAIT_S = 0.05
# A driver holds 4096 bytes, which take a port of 1 Mbit/s twice the longer pause.
_PAUSE_S, _LONG_PAUSE_S, _MANY = 0.01, 0.02, 32

_FLOW_S, _FILL_S = 0.005, 0.0002


class Polled(Protocol):
    """A source whose bytes the system announces."""

    descriptor: int

    def read_now(self) -> list[Chunk]:
        """What is there; never waits. Raises SourceError when the link is gone."""


class _Held:
    """A port that is open, and how reading it ended."""

    def __init__(self, source: Polled, put: Callable[[Sequence[Chunk]], bool]) -> None:
        self.source, self.put = source, put
        self.over = threading.Event()
        self.fault: Exception | None = None


class Ports:
    """The ports that are open. `start` and `close` are for its owner, the rest for any thread."""

    def __init__(self) -> None:
        self._poll = select.epoll()
        self._held: dict[int, _Held] = {}
        self._lock = threading.Lock()  # a descriptor must not be read once it is closed
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._read_until_closed, name="ports", daemon=True)

    @staticmethod
    def make() -> Ports | None:
        """None where the system has no such way of asking: then each port has its own thread."""
        return Ports() if hasattr(select, "epoll") else None

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        """Ends reading; whoever waits in `read_until_lost` goes on."""
        self._ending.set()
        self.wake()
        if self._thread.ident is not None:
            self._thread.join()

    def wake(self) -> None:
        """Has those look up who wait for their link to end."""
        with self._lock:
            for held in self._held.values():
                held.over.set()

    def read_until_lost(
        self,
        source: Polled,
        put: Callable[[Sequence[Chunk]], bool],
        stop: threading.Event,
    ) -> None:
        """Reads a port that is open into `put` until `stop` is set (then call `wake`) or the link
        is lost, whose error is raised. `put` says whether much came."""
        held, descriptor = _Held(source, put), source.descriptor
        with self._lock:
            self._held[descriptor] = held
            self._poll.register(descriptor, select.EPOLLIN)
        try:
            while held.fault is None and not stop.is_set() and not self._ending.is_set():
                held.over.wait(1.0)
                held.over.clear()
        finally:
            with self._lock:
                self._forget(descriptor)
        if held.fault is not None:
            raise held.fault

    def read_all(self) -> bool:
        """Reads what has come on any port; True where on one there was much."""
        much = False
        with self._lock:
            if not self._held:
                return False
            for descriptor, _ in self._poll.poll(0, len(self._held)):
                held = self._held.get(descriptor)
                if held is None:
                    continue
                try:
                    much |= held.put(held.source.read_now())
                except Exception as fault:
                    # Raised again where the port was opened, which knows what to do about it.
                    held.fault = fault
                    self._forget(descriptor)
                    held.over.set()
        return much

    def _forget(self, descriptor: int) -> None:
        if self._held.pop(descriptor, None) is not None:
            self._poll.unregister(descriptor)

    def _read_until_closed(self) -> None:
        while not self._ending.is_set():
            if not self._poll.poll(_WAIT_S, 1):
                continue
            flowed_s = 0.0
            while not self._ending.is_set():
                # After a few bytes a few more are waited for; after many only for a driver to fill
                # up again, since a source that never pauses waits for us then.
                now_s = time.monotonic()
                if self.read_all():
                    flowed_s = now_s
                elif now_s - flowed_s > _FLOW_S:
                    break
                else:
                    time.sleep(_FILL_S)
            self._ending.wait(_PAUSE_S if len(self._held) < _MANY else _LONG_PAUSE_S)
