"""Many plain numbers of a text at once, each to the bit what ``float`` makes of it.

Eight digits are read as one integer of eight bytes (the usual trick of adding neighbours by three
multiplications). An integer below 2^53 over a power of ten up to 10^22 is rounded once, and so
exactly as a number read digit by digit (Clinger 1990).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from planning.calc.program.types import Bools, Floats, Indices

Words = npt.NDArray[np.uint64]

_PIECE: Final = 8192
_AT_ONCE: Final = 8
_MOST_DIGITS: Final = 15
_TENS: Final = 10.0 ** np.arange(_MOST_DIGITS + 1)
_ZEROS: Final = np.uint64(0x3030303030303030)
_ALL: Final = np.uint64(0xFFFFFFFFFFFFFFFF)
_PAIR: Final = np.uint64(0x000000FF000000FF)
_HIGH: Final = np.uint64(0x000F424000000064)  # 10^6 * 2^32 + 100
_LOW: Final = np.uint64(0x0000271000000001)  # 10^4 * 2^32 + 1


def numbers_of(text: bytes, start: Indices, dot: Indices, stop: Indices, minus: Bools) -> Floats:
    """The numbers whose first digit or dot is at ``start`` and whose last is before ``stop``.

    ``dot`` is where the decimal point stands, or ``stop`` where there is none. The text holds no
    other dots than these.
    """
    dotted = dot < stop
    fraction = np.where(dotted, stop - dot - 1, 0)
    digits = stop - start - dotted
    bare = np.frombuffer(b"0" * 16 + text.translate(None, b"."), np.uint8)
    eights = np.ndarray((len(bare) - 7,), "<u8", bare, strides=(1,))
    end = stop - np.cumsum(dotted) + 16
    value = np.empty(len(stop))
    for first in range(0, len(stop), _PIECE):
        own = slice(first, first + _PIECE)
        value[own] = _whole(eights, end[own], np.minimum(digits[own], _MOST_DIGITS))
        value[own] /= _TENS[np.minimum(fraction[own], _MOST_DIGITS)]
    for i in np.flatnonzero(digits > _MOST_DIGITS).tolist():
        value[i] = float(text[start[i] : stop[i]])
    return np.negative(value, out=value, where=minus)


def _whole(eights: Words, end: Indices, digits: Indices) -> Floats:
    low = np.minimum(digits, _AT_ONCE)
    value = _eight(eights[end - _AT_ONCE], low).astype(np.float64)
    more = np.flatnonzero(digits > _AT_ONCE)
    if len(more):
        high = _eight(eights[end[more] - 2 * _AT_ONCE], digits[more] - _AT_ONCE)
        value[more] += high * 1e8
    return value


def _eight(word: Words, digits: Indices) -> Words:
    """The number that the last ``digits`` (1 to 8) of eight bytes write."""
    mask = _ALL << ((_AT_ONCE - digits).astype(np.uint64) << np.uint64(3))
    word = (word & mask) - (_ZEROS & mask)
    word = word * np.uint64(10) + (word >> np.uint64(8))
    low = ((word >> np.uint64(16)) & _PAIR) * _LOW
    return ((word & _PAIR) * _HIGH + low) >> np.uint64(32)
