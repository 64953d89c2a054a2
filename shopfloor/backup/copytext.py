"""Rows as the text of PostgreSQL's COPY, for SQLite. Pure.

One line a row, fields parted by tabs, NULL as `\\N`, backslash escapes (PostgreSQL, COPY, "Text
Format"). PostgreSQL writes and reads this itself; here SQLite's values are turned into the same.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

NULL = "\\N"
_NEEDS = re.compile(r"[\\\n\r\t]")
_ESCAPES = str.maketrans({"\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"})
_ESCAPE = re.compile(r"\\(.)", re.S)
_MEANT = {"n": "\n", "r": "\r", "t": "\t", "b": "\b", "f": "\f", "v": "\v"}

# kind of a column -> how SQLite's value is written, and how it is read again
WRITE: dict[str, Callable[[Any], str]] = {
    "text": lambda value: escaped(str(value)),
    "integer": str,
    "float": lambda value: repr(float(value)),
    "bool": lambda value: "t" if value else "f",
    "bytes": lambda value: "\\\\x" + bytes(value).hex(),
    "instant": lambda value: f"{value}+00",
    "uuid": str,
}
READ: dict[str, Callable[[str], Any]] = {
    "text": str,
    "integer": int,
    "float": float,
    "bool": lambda text: 1 if text == "t" else 0,
    "bytes": lambda text: bytes.fromhex(text.removeprefix("\\x")),
    "instant": lambda text: instant(text),
    "uuid": lambda text: text.replace("-", ""),
}


def escaped(text: str) -> str:
    return text.translate(_ESCAPES) if _NEEDS.search(text) else text


def lines(rows: Iterable[Sequence[Any]], kinds: Sequence[str]) -> Iterator[str]:
    """Each of SQLite's rows as one line, its end included."""
    writers = [WRITE[kind] for kind in kinds]
    for row in rows:
        fields = [
            NULL if value is None else write(value)
            for value, write in zip(row, writers, strict=True)
        ]
        yield "\t".join(fields) + "\n"


def values(text: Iterable[bytes], kinds: Sequence[str]) -> Iterator[list[Any]]:
    """SQLite's values of each line. Raises ValueError with the line's number."""
    readers = [READ[kind] for kind in kinds]
    for number, line in enumerate(text, 1):
        fields = line.decode("utf-8").removesuffix("\n").split("\t")
        if len(fields) != len(readers):
            raise ValueError(f"line {number}: {len(fields)} fields, not {len(readers)}")
        try:
            row = [
                None if field == NULL else read(plain(field) if "\\" in field else field)
                for field, read in zip(fields, readers, strict=True)
            ]
        except ValueError as problem:
            raise ValueError(f"line {number}: {problem}") from problem
        yield row


def instant(text: str) -> str:
    """As Django writes it: six digits or none, since SQLite compares instants as text."""
    whole, dot, part = text.removesuffix("+00").partition(".")
    return f"{whole}{dot}{part:0<6}" if dot else whole


def plain(field: str) -> str:
    """A field without its escapes."""
    return _ESCAPE.sub(lambda found: _MEANT.get(found[1], found[1]), field)
