"""Signal words of many lines at once, as the numbers of their kinds. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

_SHORT: Final = 8  # bytes that one number holds
_Array = np.ndarray[Any, Any]


class Words:
    """The listed words of a feed. Most have eight bytes at most and are compared as one number;
    longer ones are looked up a line at a time."""

    def __init__(self, signals: Mapping[str, int]) -> None:
        listed = {word.encode(): kind for word, kind in signals.items() if word}
        short = {w: kind for w, kind in listed.items() if len(w) <= _SHORT}
        coded = sorted((int.from_bytes(word, "little"), kind) for word, kind in short.items())
        # One more than any word, so that what lies behind the last has a place to be unlike.
        self._codes = np.array([*(code for code, _ in coded), 0xFFFF_FFFF_FFFF_FFFF], np.uint64)
        self._kinds = np.array([*(kind for _, kind in coded), 0], np.int64)
        self._widest = max(map(len, short), default=0)
        self._long = {word: kind for word, kind in listed.items() if len(word) > _SHORT}

    def kinds_of(self, raw: bytes, bytes_: _Array, start: _Array, end: _Array) -> _Array:
        """The kind of each word raw[start:end], 0 where it is not listed. `bytes_` is `raw`. Words
        without NUL only."""
        length = end - start
        codes = np.zeros(len(start), np.uint64)
        for place in range(self._widest):
            byte = bytes_[np.minimum(start + place, len(bytes_) - 1)].astype(np.uint64)
            codes |= np.where(place < length, byte, np.uint64(0)) << np.uint64(8 * place)
        at = np.searchsorted(self._codes, codes)
        same = (self._codes[at] == codes) & (length <= self._widest)
        kinds: _Array = np.where(same, self._kinds[at], 0)
        if self._long:
            for n in np.flatnonzero(length > _SHORT).tolist():
                kinds[n] = self._long.get(raw[start[n] : end[n]], 0)
        return kinds
