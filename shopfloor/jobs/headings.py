"""What the headings of a job list may mean: suggestions for a person, never taken by themselves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from shopfloor.files.read_list import Heading
from shopfloor.jobs.list_rows import ALIASES, COLUMNS, NEEDED

_USUAL: Final = {
    "job": ("job no", "job #", "order", "order no", "order number", "work order", "wo", "no"),
    "customer": ("client", "company", "for", "sold to"),
    "title": ("description", "desc", "what", "project", "name"),
    "due": ("ship date", "needed by", "delivery", "deliver by", "date", "wanted"),
    "line": ("item", "pos", "position", "line no"),
    "part": ("part no", "part #", "part name", "drawing", "drawing no", "mark", "piece mark"),
    "quantity": ("pcs", "pieces", "count", "number off", "no off", "ordered"),
    "material": ("mat", "grade", "alloy", "spec"),
    "thickness": ("thk", "thick", "gauge", "ga", "plate", "t"),
    "next step": ("next", "operation", "after"),
    "quote": ("price", "amount", "value", "total"),
}
_SUGGESTED: Final = {word: column for column, words in _USUAL.items() for word in words}


def known(headings: Iterable[Heading], meaning: Mapping[str, str]) -> bool:
    """Whether every heading has a meaning or is passed over, and nothing that is needed lacks."""
    names = [column_of(one.plain, meaning) for one in headings]
    taken = [name for name in names if name]
    fits = all(name is not None and (not name or name in COLUMNS) for name in names)
    return fits and len(taken) == len(set(taken)) and set(NEEDED) <= set(taken)


def column_of(plain: str, meaning: Mapping[str, str]) -> str | None:
    """Our column of a heading, "" where it is passed over, None where nobody has said."""
    name = meaning.get(plain, ALIASES.get(plain, plain))
    return name if name == "" or name in COLUMNS else None


def suggestions(headings: Iterable[Heading], meaning: Mapping[str, str]) -> list[str]:
    """A column for each heading, none of them twice; "" where nothing fits."""
    headings = list(headings)
    said = [column_of(one.plain, meaning) for one in headings]
    taken = {name for name in said if name}
    found = []
    for one, name in zip(headings, said, strict=True):
        if name is None:
            guess = _SUGGESTED.get(one.plain.replace(".", "").strip(), "")
            name = "" if guess in taken else guess
            taken.add(name)
        found.append(name)
    return found
