"""Arcs from events: a pure function of the sorted set of distinct events.

Rules, per torch (design of the feed format):

- a second `arc_on` ends the first as `lost`, at the last line that shows it burning (a pierce,
  or a sample above zero), or at its own start where none does;
- an `arc_off` with no arc, and a pierce outside one, are strays;
- a pierce event stands for as many pierces as its value says, without one for one; with UNKNOWN
  it says that the arc's pierces are unknown, and outside an arc nothing;
- a sample of 0 A (or 0 V) is no burning and does not end an arc;
- an arc still burning when the input ends is `open`: its end is unknown, not zero.

The same `Pairer` serves live intake (one event at a time, `state()` kept with the rows) and a
range read back from the store (`pair`). Events must come in the order of `events.order_of`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

from telemetry.events import ARC_OFF, ARC_ON, PIERCE, PROGRAM, SAMPLE_A, SAMPLE_V, UNKNOWN, Event

Ended = Literal["off", "lost", "open"]


class Arc(NamedTuple):
    """One arc-on interval of one torch.

    `key` is the key of its arc_on event. `off_us` is None while `ended` is "open". `pierces` is
    None where they are unknown, as always where the feed cannot know them. `amps` and `volts` are
    means of the samples above zero, None without any. `last_seen_us` is the last line that showed
    it burning, its own start at the least.
    """

    torch: str
    key: str
    on_us: int
    off_us: int | None
    pierces: int | None
    first_pierce_us: int | None
    ended: Ended
    program: str | None
    amps: float | None
    volts: float | None
    last_seen_us: int


@dataclass(frozen=True, slots=True)
class Pairing:
    """Arcs in order of their start, and the events that fit none."""

    arcs: list[Arc]
    stray_offs: list[Event]
    stray_pierces: list[Event]


class Burning:
    """The arc a torch is in; plain slots because this is touched for every event."""

    __slots__ = (
        "a_n", "a_sum", "first_pierce_us", "key", "last_seen_us", "on_us", "pierces", "program",
        "v_n", "v_sum",
    )  # fmt: skip

    def __init__(self, key: str, on_us: int, program: str | None) -> None:
        self.key = key
        self.on_us = on_us
        self.program = program
        self.last_seen_us = on_us
        self.pierces: int | None = 0
        self.first_pierce_us: int | None = None
        self.a_sum = 0.0
        self.a_n = 0
        self.v_sum = 0.0
        self.v_n = 0


class Pairer:
    """Pairs the events of one torch.

    `knows_pierces` False makes `Arc.pierces` None. `program` is the program already loaded.
    After each `feed` the caller may look at `stray` to see whether that event fitted no arc.
    `burning` is the arc it is in.
    """

    def __init__(self, torch: str, *, knows_pierces: bool, program: str | None = None) -> None:
        self.torch = torch
        self.knows_pierces = knows_pierces
        self.program = program
        self.stray = False
        self.burning: Burning | None = None

    def feed(self, event: Event) -> Arc | None:
        """Take the next event; returns the arc it ended, if any."""
        return self.take(event.key, event.time_us, event.kind, event.value, event.text)

    def take(
        self, key: str, time_us: int, kind: int, value: float | None, text: str | None
    ) -> Arc | None:
        """`feed` of what counts of an event."""
        burning = self.burning
        self.stray = False
        if kind == ARC_ON:
            self.burning = Burning(key, time_us, self.program)
            return None if burning is None else self._arc(burning, burning.last_seen_us, "lost")
        if kind == PROGRAM:
            self.program = text
            return None
        if burning is None:
            self.stray = kind == ARC_OFF or (kind == PIERCE and value != UNKNOWN)
            return None
        if kind == ARC_OFF:
            self.burning = None
            return self._arc(burning, time_us, "off")
        if kind == PIERCE:
            if value == UNKNOWN:
                burning.pierces = None
                return None
            if burning.pierces is not None:
                burning.pierces += 1 if value is None else int(value)
            if burning.first_pierce_us is None:
                burning.first_pierce_us = time_us
        elif value is None or value <= 0:
            return None
        elif kind == SAMPLE_A:
            burning.a_sum += value
            burning.a_n += 1
        elif kind == SAMPLE_V:
            burning.v_sum += value
            burning.v_n += 1
        burning.last_seen_us = time_us
        return None

    def take_all(self, rows: Iterable[Sequence[Any]]) -> Iterator[tuple[Arc | None, Sequence[Any]]]:
        """`take` of many rows in order, at a third of its cost.

        A row begins (key as bytes, time_us, seq, tie, torch, kind, value, text). Yields each arc
        with the row that ended it, and None with each stray.
        """
        burning = self.burning
        for row in rows:
            kind = row[5]
            if kind >= SAMPLE_A:
                if burning is not None and (value := row[6]) is not None and value > 0:
                    burning.last_seen_us = row[1]
                    if kind == SAMPLE_A:
                        burning.a_sum += value
                        burning.a_n += 1
                    else:
                        burning.v_sum += value
                        burning.v_n += 1
            elif kind == ARC_ON:
                before = burning
                self.burning = burning = Burning(row[0].hex(), row[1], self.program)
                if before is not None:
                    yield self._arc(before, before.last_seen_us, "lost"), row
            elif kind == PROGRAM:
                self.program = row[7]
            elif burning is None:
                if kind == ARC_OFF or row[6] != UNKNOWN:
                    yield None, row
            elif kind == ARC_OFF:
                before, self.burning, burning = burning, None, None
                yield self._arc(before, row[1], "off"), row
            elif row[6] == UNKNOWN:
                burning.pierces = None
            else:
                if burning.pierces is not None:
                    burning.pierces += 1 if row[6] is None else int(row[6])
                burning.last_seen_us = row[1]
                if burning.first_pierce_us is None:
                    burning.first_pierce_us = row[1]

    def open_arc(self) -> Arc | None:
        """The arc still burning, as `open`; the pairer keeps it."""
        return None if self.burning is None else self._arc(self.burning, None, "open")

    def state(self) -> dict[str, Any]:
        """All of the pairer as JSON values."""
        burning = self.burning
        return {
            "torch": self.torch,
            "knows_pierces": self.knows_pierces,
            "program": self.program,
            "burning": None
            if burning is None
            else {name: getattr(burning, name) for name in Burning.__slots__},
        }

    @classmethod
    def from_state(cls, state: dict[str, Any]) -> Pairer:
        """The pairer that `state()` described."""
        pairer = cls(state["torch"], knows_pierces=state["knows_pierces"], program=state["program"])
        if state["burning"] is not None:
            pairer.burning = burning = Burning("", 0, None)
            for name, value in state["burning"].items():
                setattr(burning, name, value)
        return pairer

    def _arc(self, burning: Burning, off_us: int | None, ended: Ended) -> Arc:
        return Arc(
            self.torch, burning.key, burning.on_us, off_us,
            burning.pierces if self.knows_pierces else None, burning.first_pierce_us, ended,
            burning.program, burning.a_sum / burning.a_n if burning.a_n else None,
            burning.v_sum / burning.v_n if burning.v_n else None, burning.last_seen_us,
        )  # fmt: skip


def pair(
    events: Iterable[Event], *, knows_pierces: bool, programs: dict[str, str | None] | None = None
) -> Pairing:
    """Pair a range of sorted events of one feed, all its torches at once.

    `programs` gives the program each torch had before the range, "" the whole table's; a
    program line without a torch is for all torches. Arcs still burning at the end of the range
    come out as `open`.
    """
    before = dict(programs or {})
    pairers: dict[str, Pairer] = {}
    arcs: list[Arc] = []
    stray_offs: list[Event] = []
    stray_pierces: list[Event] = []
    for event in events:
        torch = event.torch
        if not torch and event.kind == PROGRAM:
            before = {"": event.text}
            for known in pairers.values():
                known.program = event.text
            continue
        pairer = pairers.get(torch)
        if pairer is None:
            program = before.get(torch, before.get(""))
            pairer = Pairer(torch, knows_pierces=knows_pierces, program=program)
            pairers[torch] = pairer
        arc = pairer.feed(event)
        if arc is not None:
            arcs.append(arc)
        elif pairer.stray:
            (stray_offs if event.kind == ARC_OFF else stray_pierces).append(event)
    arcs.extend(arc for pairer in pairers.values() if (arc := pairer.open_arc()))
    arcs.sort(key=lambda arc: arc.on_us)
    return Pairing(arcs, stray_offs, stray_pierces)
