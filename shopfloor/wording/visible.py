"""Text without marks that nobody sees: they turn a printed line around, or make two names look
like one. Pure.

Hebrew and Arabic need none of them: their letters carry their direction. The joiners that Persian
and Indic words are written with stay where they stand behind such a letter.
"""

from __future__ import annotations

import unicodedata

_JOINERS = "\u200c\u200d"
_BLANKS = "\t\n\r"
# Letters and marks that draw nothing, though Unicode does not call them format marks.
_FILLERS = "\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0"
# Format marks that are drawn: Arabic and Syriac number signs, Kaithi's.
_DRAWN = "\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2\U000110bd\U000110cd"
_VIRAMA = 9


def visible(text: str) -> str:
    """The text without format marks (directions, zero width, soft hyphen), with a blank for each
    control mark and for Unicode's own line and paragraph ends. Tabs and line ends stay."""
    if text.isascii() and text.isprintable():
        return text
    kept: list[str] = []
    for mark in text:
        kind = unicodedata.category(mark)
        if mark in _BLANKS or mark in _DRAWN:
            kept.append(mark)
        elif kind in ("Cc", "Zl", "Zp"):
            kept.append(" ")
        elif mark in _JOINERS:
            if kept and _joins(kept[-1]):
                kept.append(mark)
        elif kind != "Cf" and mark not in _FILLERS:
            kept.append(mark)
    return "".join(kept)


def _joins(letter: str) -> bool:
    return unicodedata.bidirectional(letter) == "AL" or unicodedata.combining(letter) == _VIRAMA
