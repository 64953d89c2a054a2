"""Edges of a contact's level, and what its polls say beside: pierces of a counter, and amps.

Polled repeats are no edges, bounces shorter than the debounce time neither. A new level counts
from its first line once the next line shows it stood for the debounce time; a contact that is
found closed at the very first line starts an arc there.

A poll brings its amps as `value` and its pierce counter as `text`. What the counter went up is an
event behind the edge that begins an arc and before the one that ends it. The amps of an arc are one
event, their mean, right before its end: one for each poll would be most of the rows stored.
"""

from __future__ import annotations

from typing import Any

from telemetry.counter import Counter
from telemetry.events import ARC_OFF, ARC_ON, PIERCE, SAMPLE_A, Event
from telemetry.identity import part_key


class Edges:
    """The level of one torch's contact. Events must come in order of their time."""

    def __init__(self, debounce_us: int, counts_to: int = 0) -> None:
        self._debounce_us = debounce_us
        self._level = ARC_OFF
        self._waiting: Event | None = None
        self._held: list[Event] = []  # pierces since the poll that waits
        self._counter = Counter(counts_to)
        self._amps, self._measured = 0.0, 0  # of the arc: their sum, and how many

    def feed(self, event: Event) -> list[Event]:
        """Take the next poll; what it proves, in order, at most one edge among it."""
        proven: list[Event] = []
        waiting = self._waiting
        if waiting is not None:
            if event.time_us - waiting.time_us >= self._debounce_us:
                proven = self.settle()
            elif event.kind != waiting.kind:
                proven = self._bounced()
        starts = self._waiting is None and event.kind != self._level
        pierces = self._pierces(event, begins=starts and event.kind == ARC_ON)
        if event.kind == ARC_ON and event.value is not None and event.value > 0:
            self._amps, self._measured = self._amps + event.value, self._measured + 1
        if starts:
            self._waiting = event
        if self._waiting is None:
            return proven + pierces
        self._held += pierces
        return proven if self._debounce_us else self.settle()

    def settle(self) -> list[Event]:
        """The edge still waiting, taken as real because nothing speaks against it."""
        edge, self._waiting = self._waiting, None
        held, self._held = self._held, []
        if edge is None:
            return held
        self._level = edge.kind
        if edge.value is not None or edge.text is not None:
            edge = edge._replace(value=None, text=None)
        if edge.kind == ARC_ON:
            return [edge, *held]
        inside = [pierce for pierce in held if pierce.time_us == edge.time_us]
        return [*inside, *self._mean(edge), edge, *held[len(inside) :]]

    def state(self) -> list[Any]:
        """All of it as JSON values."""
        return [
            self._level == ARC_ON, None if self._waiting is None else list(self._waiting),
            [list(pierce) for pierce in self._held], self._counter.last, self._amps, self._measured,
        ]  # fmt: skip

    def restore(self, state: list[Any]) -> None:
        """Take up what `state()` described, or did before polls could say more than a level."""
        is_on, waiting, *more = state
        self._level = ARC_ON if is_on else ARC_OFF
        self._waiting = None if waiting is None else Event(*waiting)
        if more:
            held, self._counter.last, self._amps, self._measured = more
            self._held = [Event(*values) for values in held]

    def _bounced(self) -> list[Event]:
        """The level did not change after all; what was counted meanwhile was."""
        self._waiting = None
        held, self._held = self._held, []
        if self._level == ARC_OFF:
            self._amps, self._measured = 0.0, 0
        return held

    def _pierces(self, event: Event, *, begins: bool) -> list[Event]:
        if event.text is None:
            return []
        count = self._counter.step(int(event.text), begins=begins)
        if not count:
            return []
        key, value = part_key(event.key, PIERCE), float(count) if count > 1 else None
        return [event._replace(key=key, kind=PIERCE, value=value, text=None)]

    def _mean(self, off: Event) -> list[Event]:
        if not self._measured:
            return []
        mean = self._amps / self._measured
        self._amps, self._measured = 0.0, 0
        return [off._replace(key=part_key(off.key, SAMPLE_A), kind=SAMPLE_A, value=mean)]
