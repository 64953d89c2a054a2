"""Edges of a contact's level: polled repeats are no events, bounces shorter than the debounce
time neither.

A new level counts from its first line once the next line shows it stood for the debounce time;
a contact that is found closed at the very first line starts an arc there.
"""

from __future__ import annotations

from typing import Any

from telemetry.events import ARC_OFF, ARC_ON, Event


class Edges:
    """The level of one torch's contact. Events must come in order of their time."""

    def __init__(self, debounce_us: int) -> None:
        self._debounce_us = debounce_us
        self._level = ARC_OFF
        self._waiting: Event | None = None

    def feed(self, event: Event) -> Event | None:
        """Take the next poll; the edge that it proves, if any."""
        proven = None
        waiting = self._waiting
        if waiting is not None:
            if event.time_us - waiting.time_us >= self._debounce_us:
                proven = self.settle()
            elif event.kind != waiting.kind:
                self._waiting = None
        if self._waiting is None and event.kind != self._level:
            if self._debounce_us == 0:
                self._level = event.kind
                return event
            self._waiting = event
        return proven

    def settle(self) -> Event | None:
        """The edge still waiting, taken as real because nothing speaks against it."""
        waiting, self._waiting = self._waiting, None
        if waiting is not None:
            self._level = waiting.kind
        return waiting

    def state(self) -> list[Any]:
        """All of it as JSON values."""
        return [self._level == ARC_ON, None if self._waiting is None else list(self._waiting)]

    def restore(self, state: list[Any]) -> None:
        """Take up what `state()` described."""
        is_on, waiting = state
        self._level = ARC_ON if is_on else ARC_OFF
        self._waiting = None if waiting is None else Event(*waiting)
