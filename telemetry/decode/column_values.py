"""Measured values of many lines at once, to the very double that reading each gives. Pure."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from telemetry.decode.row_blocks import Array
from telemetry.errors import ParseError
from telemetry.parsers.numbers import decimal

_WIDEST: Final = 15  # bytes: as many digits a double holds exactly
_TENS: Final = 10.0 ** np.arange(_WIDEST + 1)
_CACHED: Final = 65_536


class Values:
    """Reads values. Words that are not plain digits are remembered."""

    def __init__(self) -> None:
        self._odd: dict[bytes, float | None] = {}

    def read(self, raw: bytes, bytes_: Array, start: Array, end: Array) -> tuple[Array, Array]:
        """The words raw[start:end] as doubles, and which of them are any number. `bytes_` is
        `raw`, and all of the words are ASCII.

        Digits with or without a point are worked out by arrays: a whole number below 2^53 over a
        power of ten is rounded once, to the nearest double, as IEEE 754 has it.
        """
        length = end - start
        total = np.zeros(len(start), np.int64)
        point = np.full(len(start), -1)
        plain = (length > 0) & (length <= _WIDEST)
        for place in range(min(int(length.max(initial=0)), _WIDEST)):
            byte = bytes_[np.minimum(start + place, len(bytes_) - 1)].astype(np.int64)
            inside = place < length
            is_point = inside & (byte == 46) & (point < 0)
            point[is_point] = place
            is_digit = inside & ~is_point
            plain &= ~is_digit | ((byte >= 48) & (byte <= 57))
            total = np.where(is_digit, total * 10 + byte - 48, total)
        plain &= (point != 0) & (point != length - 1)  # digits on both sides of it
        behind = np.where(point >= 0, length - 1 - point, 0)
        values: np.ndarray[Any, np.dtype[np.float64]] = total / _TENS[np.clip(behind, 0, _WIDEST)]
        is_number = plain.copy()
        for at in np.flatnonzero(~plain).tolist():
            value = self._singly(raw[start[at] : end[at]])
            values[at] = np.nan if value is None else value
            is_number[at] = value is not None
        return values, is_number

    def _singly(self, word: bytes) -> float | None:
        if word not in self._odd:
            if len(self._odd) > _CACHED:
                self._odd.clear()
            try:
                self._odd[word] = decimal(word.decode(), ".")
            except ParseError:
                self._odd[word] = None
        return self._odd[word]
