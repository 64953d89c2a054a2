"""A language that nobody speaks: every message in brackets, so that a page shows which words are
translated. Its code is `xx`; it needs no catalogue."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.utils import formats, translation
from django.utils.translation import trans_real

from planning.calc import dates

CODE = "xx"
CONTEXT = trans_real.CONTEXT_SEPARATOR
# What a translator must leave as it is; the words between are bracketed one run at a time, so that
# a word put into a message from elsewhere stands outside.
KEPT = re.compile(r"(%\(\w+\)[-+#0-9.]*[a-z]|%[-+#0-9.]*[a-z]|%%|\{[^{}]*\}|<[^<>]*>|&#?\w+;)")
LETTER = re.compile(r"[^\W\d_]")


def bracketed(message: str) -> str:
    """`Sheet %(number)s of 12` becomes `⟦Sheet⟧ %(number)s ⟦of 12⟧`."""
    return "".join(
        part if place % 2 or not LETTER.search(part) else _wrapped(part)
        for place, part in enumerate(KEPT.split(message))
    )


def _wrapped(part: str) -> str:
    words = part.strip()
    before, _, after = part.partition(words)
    return f"{before}⟦{words}⟧{after}"


# Another order of dates than in English.
ORDERS = {
    dates.DAY: "{day}. {mon}",
    dates.DAY_YEAR: "{year} {mon} {day}.",
    dates.WEEKDAY: "{day}. {mon} {weekday}",
    dates.MONTH: "{year} {month}",
    "{hour:02d}:{minute:02d}": "{hour:02d}.{minute:02d}",
}
MARKS = {"DECIMAL_SEPARATOR": ",", "THOUSAND_SEPARATOR": "."}


class Catalogue:
    """Stands where Django keeps a language's gettext catalogue."""

    def gettext(self, message: str) -> str:
        return bracketed(ORDERS.get(message) or message.rpartition(CONTEXT)[2])

    def ngettext(self, one: str, many: str, number: Any) -> str:
        return self.gettext(one if number == 1 else many)

    def language(self) -> str:
        return CODE

    to_language = language


@contextmanager
def made_up_language() -> Iterator[None]:
    """All text in brackets, numbers as 1.204,5 and dates in another order, for this thread."""
    trans_real._translations[CODE] = Catalogue()
    formats._format_cache.update({(kind, CODE): mark for kind, mark in MARKS.items()})
    try:
        with translation.override(CODE):
            yield
    finally:
        del trans_real._translations[CODE]
        for kind in MARKS:
            formats._format_cache.pop((kind, CODE), None)
