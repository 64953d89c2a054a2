"""Where decoded events wait for their place, and what shows only once they are in order.

Gaps of the device's numbers and edges of a level are judged as events leave the window.
"""

from __future__ import annotations

from typing import Any

from telemetry.decode.debounce import Edges
from telemetry.decode.reorder import Window
from telemetry.decode.sequence import NEAR, Sequence
from telemetry.events import ARC_OFF, Batch, Event, Gap

_REFUSED = 0  # the kind of a line that is no event


class ReleaseQueue:
    """Puts events in order and lets them go into a batch."""

    def __init__(
        self,
        sequence: Sequence,
        *,
        window_us: int,
        timed: bool,
        has_seq: bool,
        debounce_us: int | None,
        counts_to: int | None = None,
    ) -> None:
        """`debounce_us` is None where events are no levels; `counts_to` is of `Edges`."""
        self.window = Window(timed=timed)
        self._sequence = sequence
        self._window_us = window_us
        self._timed = timed
        self._has_seq = has_seq
        self._debounce_us = debounce_us
        self._counts_to = counts_to
        self._edges: dict[str, Edges] = {}
        self._unchecked: list[list[int]] = []  # session, seq, time, position of lines let go

    @property
    def waits(self) -> bool:
        """Whether anything has not left, or not been judged as it left."""
        return bool(self.window or self._unchecked)

    def release_due(self, newest_us: int, batch: Batch) -> None:
        """Release what no line within the window can come before `newest_us`.

        Gaps depend on which numbers have come by the time a line leaves. So this must be called
        before any line that is not plainly the next one; between such calls it may wait for the
        end of a block, and the size of the blocks changes nothing.
        """
        until_us = newest_us - self._window_us if self._timed else None
        self._release(self.window.release(until_us), batch)
        # Without stamps nothing is put in order, so late numbers get a few lines' grace instead.
        self._find_gaps(len(self._unchecked) - (0 if self._timed else NEAR), batch)

    def pass_through(
        self, batch: Batch, session: int, seqs: tuple[int, int], time_us: int, at: int
    ) -> None:
        """Makes way for lines that leave at once: in order, behind all that waits, numbered without
        a break, `seqs` being the first and last of them. The first is of `time_us`, at position
        `at`."""
        if self.waits:
            self._release(self.window.release(None), batch)
            self._find_gaps(len(self._unchecked), batch)
        release = self._sequence.release
        batch.gaps += [Gap(session, *run, time_us, at) for run in release(session, seqs[0])]
        release(session, seqs[-1])

    def reserve_refused(
        self, session: int, seq: int, time_us: int, position: int, newest_us: int
    ) -> None:
        """A refused line in its place: no event, but its number can show a gap."""
        if not self._timed or time_us >= newest_us - self._window_us:
            self.window.add(
                Event("", time_us, _REFUSED, "", seq, session, "", None, None, 0, position, 0,
                      None, "")
            )  # fmt: skip

    def release_all(self, batch: Batch) -> None:
        """Release everything, edges that wait to be proven too."""
        self._release(self.window.release(None), batch)
        self._find_gaps(len(self._unchecked), batch)
        for edges in self._edges.values():
            found = edges.settle()
            if found:
                batch.repeats -= 1  # it was counted as one while it waited
                batch.events += found

    def state(self) -> dict[str, Any]:
        """All of it as JSON values."""
        return {
            "window": self.window.state(),
            "unchecked": [list(item) for item in self._unchecked],
            "edges": {torch: edges.state() for torch, edges in self._edges.items()},
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Take up what `state()` described."""
        self.window.restore(state["window"])
        self._unchecked = [list(item) for item in state["unchecked"]]
        for torch, values in state["edges"].items():
            self._edges_of(torch).restore(values)

    def _release(self, events: list[Event], batch: Batch) -> None:
        if self._has_seq:
            self._unchecked += [[e.session, e.seq or 0, e.time_us, e.position] for e in events]
        if self._debounce_us is None:
            batch.events += [event for event in events if event.kind != _REFUSED]
            return
        for event in events:
            if event.kind == _REFUSED:
                continue
            found = self._edges_of(event.torch).feed(event)
            batch.events += found
            if not any(one.kind <= ARC_OFF for one in found):
                batch.repeats += 1

    def _edges_of(self, torch: str) -> Edges:
        edges = self._edges.get(torch)
        if edges is None:
            edges = self._edges[torch] = Edges(self._debounce_us or 0, self._counts_to)
        return edges

    def _find_gaps(self, count: int, batch: Batch) -> None:
        if count <= 0:
            return
        release = self._sequence.release
        for session, seq, time_us, position in self._unchecked[:count]:
            for after, before in release(session, seq):
                batch.gaps.append(Gap(session, after, before, time_us, position))
        del self._unchecked[:count]
