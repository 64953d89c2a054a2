"""Decoded events kept small, sixty bytes each: a long sample fits in little memory. Pure."""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from itertools import repeat

import numpy as np

from telemetry.decode.row_blocks import ColumnBlock
from telemetry.events import Event

_NONE = -1


class SampleStore:
    """Events in the order they were decoded in; `ordered` gives the distinct ones by time."""

    def __init__(self) -> None:
        self._keys = bytearray()
        self._times_us, self._seqs, self._sessions = array("q"), array("q"), array("q")
        self._kinds, self._torches, self._names = array("b"), array("q"), array("q")
        self._values = array("d")  # not a number where there is none
        self._words: list[str] = []
        self._numbers: dict[str, int] = {}
        self._distinct: list[int] = []
        self._counted = 0  # events when `_distinct` was worked out

    def add(self, event: Event) -> None:
        self._keys += bytes.fromhex(event.key)
        self._times_us.append(event.time_us)
        self._seqs.append(_NONE if event.seq is None else event.seq)
        self._sessions.append(event.session)
        self._kinds.append(event.kind)
        self._torches.append(self._number(event.torch))
        self._names.append(self._number(event.text))
        self._values.append(np.nan if event.value is None else event.value)

    def add_all(self, lines: ColumnBlock, session: int) -> None:
        count = len(lines)
        self._keys += lines.keys.tobytes()
        self._times_us.frombytes(lines.times_us.tobytes())
        self._seqs.frombytes(lines.seqs.tobytes())
        self._sessions.extend(repeat(session, count))
        self._kinds.frombytes(lines.kinds.astype(np.int8).tobytes())
        self._torches.extend(map(self._number, lines.torches or repeat(lines.torch, count)))
        names = np.full(count, _NONE)
        names[lines.named] = [self._number(name) for name in lines.names]
        self._names.frombytes(names.tobytes())
        self._values.frombytes(lines.values.tobytes())

    def __eq__(self, other: object) -> bool:
        """The same distinct events in the same order."""
        return isinstance(other, SampleStore) and list(self.ordered()) == list(other.ordered())

    def __len__(self) -> int:
        """How many distinct ones."""
        return len(self._order())

    @property
    def repeated(self) -> int:
        """How many carried a key that an earlier one had."""
        return len(self._times_us) - len(self)

    def ordered(self) -> Iterator[Event]:
        """Distinct events by time, then session and number, then as they came. What pairing has no
        use for is left out."""
        keys = self._keys
        for n in self._order():
            value, name = self._values[n], self._names[n]
            yield Event(
                keys[16 * n : 16 * n + 16].hex(), self._times_us[n], self._kinds[n],
                self._words[self._torches[n]], self._seqs[n], self._sessions[n], "",
                None if value != value else value, None if name < 0 else self._words[name], 0, 0,
                0, None, "",
            )  # fmt: skip

    def _order(self) -> list[int]:
        if self._counted != len(self._times_us):
            self._distinct, self._counted = self._work_out(), len(self._times_us)
        return self._distinct

    def _work_out(self) -> list[int]:
        if not self._times_us:
            return []
        keys = np.frombuffer(bytes(self._keys), "V16")
        _, first = np.unique(keys, return_index=True)
        first.sort()
        columns = (self._seqs, self._sessions, self._times_us)
        by = [np.array(column, np.int64)[first] for column in columns]
        order: list[int] = first[np.lexsort(by)].tolist()
        return order

    def _number(self, word: str | None) -> int:
        if word is None:
            return _NONE
        number = self._numbers.get(word)
        if number is None:
            number = self._numbers[word] = len(self._words)
            self._words.append(word)
        return number
