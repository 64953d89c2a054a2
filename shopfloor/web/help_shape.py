"""What help for one role holds."""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.utils.functional import Promise
from django.utils.translation import gettext as _

Rows = tuple[tuple[str, str | Promise], ...]


@dataclass(frozen=True, slots=True)
class Help:
    """`pages`: label, URL name, what it does. `ways`: what to do when. `words`: what they mean."""

    role: str
    lede: str
    pages: tuple[tuple[str, str, str], ...]
    ways: Rows
    words: Rows
    cautions: tuple[str, ...] = ()

    def to_reader(self) -> Help:
        """As its reader reads it."""
        return replace(
            self,
            lede=_(self.lede),
            pages=tuple((_(label), name, _(what)) for label, name, what in self.pages),
            ways=tuple((_(head), _(str(what))) for head, what in self.ways),
            words=tuple((_(word), _(str(what))) for word, what in self.words),
            cautions=tuple(_(line) for line in self.cautions),
        )
