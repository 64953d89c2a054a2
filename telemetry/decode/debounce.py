"""Edges of a contact's level, and what its polls say beside: pierces of a counter, and amps.

Polled repeats are no edges, bounces shorter than the debounce time neither. A new level counts
from its first line once the next line shows it stood for the debounce time; a contact that is
found closed at the very first line starts an arc there.

A poll brings its amps as `value` and its pierce counter as `text`. What the counter went up is an
event behind the edge that begins an arc and before the one that ends it. The amps of an arc are one
event, their mean, right before its end: one for each poll would be most of the rows stored.

An arc knows its pierces if the counter was read before its start, and again by the line that ends
it. Otherwise a pierce event of UNKNOWN says that it does not: so does one where the counter went up
over an arc before it too, or by more than can be believed.
"""

from __future__ import annotations

from typing import Any

from telemetry.decode.counter import MOST, Counter
from telemetry.decode.event_key import part_key
from telemetry.events import ARC_OFF, ARC_ON, PIERCE, SAMPLE_A, UNKNOWN, Event


class Edges:
    """The level of one torch's contact. Events must come in order of their time."""

    def __init__(self, debounce_us: int, counts_to: int | None = None) -> None:
        """`counts_to` is None where the lines have no counter, else as in `Counter`."""
        self._debounce_us = debounce_us
        self._level = ARC_OFF
        self._waiting: Event | None = None
        self._held: list[Event] = []  # polls since the one that waits
        self._counter = Counter(counts_to or 0)
        self._counts = counts_to is not None
        self._unread = False  # no reading yet of the arc that burns
        self._missed = False  # an arc ended unread, and nothing was read since
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
        if self._waiting is not None:
            self._held.append(event)
            return proven
        if event.kind == self._level:
            return proven + self._beside(event)
        self._waiting = event
        return proven if self._debounce_us else self.settle()

    def settle(self) -> list[Event]:
        """The edge still waiting, taken as real because nothing speaks against it."""
        edge, self._waiting = self._waiting, None
        held, self._held = self._held, []
        if edge is None:
            return []
        found = self._begin(edge) if edge.kind == ARC_ON else self._end(edge)
        for poll in held:
            found += self._beside(poll)
        return found

    def state(self) -> list[Any]:
        """All of it as JSON values."""
        return [
            self._level == ARC_ON, None if self._waiting is None else list(self._waiting),
            [list(poll) for poll in self._held], self._counter.last, self._amps, self._measured,
            self._unread, self._missed,
        ]  # fmt: skip

    def restore(self, state: list[Any]) -> None:
        """Take up what `state()` described, or did before polls could say more than a level."""
        is_on, waiting, *more = state
        self._level = ARC_ON if is_on else ARC_OFF
        self._waiting = None if waiting is None else Event(*waiting)
        if more:
            held, self._counter.last, self._amps, self._measured, *newer = more
            self._held = [Event(*values) for values in held]
            self._unread, self._missed = newer or (is_on, False)

    def _bounced(self) -> list[Event]:
        """The level did not change after all; what was counted meanwhile was."""
        polls = [self._waiting, *self._held]
        self._waiting, self._held = None, []
        return [event for poll in polls if poll is not None for event in self._beside(poll)]

    def _begin(self, on: Event) -> list[Event]:
        self._level = ARC_ON
        found = [on._replace(value=None, text=None)]
        self._unread = self._counts and self._counter.last is not None
        if self._counts and not self._unread:
            found.append(_pierces(on, UNKNOWN))
        return found + self._beside(on, begins=True)

    def _end(self, off: Event) -> list[Event]:
        found = self._beside(off)
        self._level = ARC_OFF
        if self._unread:
            found.append(_pierces(off, UNKNOWN))
            self._unread, self._missed = False, True
        if self._measured:
            mean = self._amps / self._measured
            self._amps, self._measured = 0.0, 0
            key = part_key(off.key, SAMPLE_A)
            found.append(off._replace(key=key, kind=SAMPLE_A, value=mean, text=None))
        return [*found, off._replace(value=None, text=None)]

    def _beside(self, poll: Event, *, begins: bool = False) -> list[Event]:
        """What a poll says beside its level. `begins`: it is the first of an arc."""
        burns = self._level == ARC_ON
        if burns and poll.kind == ARC_ON and poll.value is not None and poll.value > 0:
            self._amps, self._measured = self._amps + poll.value, self._measured + 1
        up = None if poll.text is None else self._counter.step(int(poll.text))
        if up is None:
            return []
        missed, self._unread, self._missed = self._missed, False, False
        if burns and up and (missed or (up > MOST and not begins)):
            return [_pierces(poll, UNKNOWN)]
        if up > MOST:
            up = int(begins)
        return [_pierces(poll, up)] if up else []


def _pierces(poll: Event, count: int) -> Event:
    value = None if count == 1 else float(count)
    return poll._replace(key=part_key(poll.key, PIERCE), kind=PIERCE, value=value, text=None)
