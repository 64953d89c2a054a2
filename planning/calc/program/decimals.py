"""With how many decimals a program's places are written."""

from __future__ import annotations

import re
from collections import Counter
from typing import Final

# A number worked out by the control has all its digits.
EXACT: Final = 12
# So many of the words must reach a decimal for it to count: our assumption. A few long numbers
# among short ones, a sheet's offset say, are no finer outline.
_SHARE: Final = 0.05
_PLACE: Final = re.compile(rb"[XYIJ][+-]?(?:[0-9]+(?:\.([0-9]*))?|\.([0-9]+)|([#\[]))")
# Of a long program so many pieces of so many bytes are looked at.
_PIECES: Final = 64
_BYTES: Final = 1024


def decimals_of(text: bytes) -> int:
    """The decimals that one in twenty of the X, Y, I and J words of bare upper-case text reach."""
    written: Counter[int] = Counter()
    for piece in _sample(text):
        for whole, fraction, worked_out in _PLACE.findall(piece):
            written[EXACT if worked_out else len(whole or fraction)] += 1
    least = _SHARE * written.total()
    reached = 0
    for decimals in sorted(written, reverse=True):
        reached += written[decimals]
        if reached >= least:
            return min(decimals, EXACT)
    return 0


def _sample(text: bytes) -> list[bytes]:
    if len(text) <= _PIECES * _BYTES:
        return [text]
    apart = (len(text) - _BYTES) // (_PIECES - 1)
    return [text[at : at + _BYTES] for at in range(0, _PIECES * apart, apart)]
