"""What two databases must agree in, row by row, whatever each makes of its types. Pure.

SQLite keeps JSON as the text it was given, PostgreSQL as what the text means: keys in another
order, numbers written otherwise. And PostgreSQL keeps no NUL character and no half of a surrogate
pair in a text; they are replaced by signs that say so.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

NUL = "\u2400"  # the sign for it
_HALF = re.compile("[\ud800-\udfff]")
_SUSPECT = re.compile(r"\\u(0000|d[89a-f])", re.I)
_MASK = (1 << 128) - 1


class Digest:
    """How many rows, and a sum of their hashes: the same whatever order they come in."""

    def __init__(self) -> None:
        self.rows = 0
        self._sum = 0

    def add(self, row: Iterable[Any]) -> None:
        self.rows += 1
        found = hashlib.blake2b(repr(tuple(row)).encode(), digest_size=16).digest()
        self._sum = (self._sum + int.from_bytes(found)) & _MASK

    @property
    def checksum(self) -> str:
        return f"{self._sum:032x}"


def meant(row: Sequence[Any], json_columns: Sequence[int]) -> list[Any]:
    """A row's values (as `backup.copytext.values` gives them) in one form for both databases."""
    found = list(row)
    for at in json_columns:
        if found[at] is not None:
            value = json.loads(found[at], parse_float=Decimal, parse_int=Decimal)
            found[at] = repr(_sorted(value))
    return found


def _sorted(value: Any) -> Any:
    if isinstance(value, dict):
        return [(key, _sorted(value[key])) for key in sorted(value)]
    if isinstance(value, list):
        return [_sorted(each) for each in value]
    if isinstance(value, Decimal):
        return ("number", str(value.normalize()))
    return value


def keepable(row: Sequence[Any], json_columns: Sequence[int]) -> tuple[list[Any], int]:
    """The row as PostgreSQL can keep it, and how many of its texts had to be changed for that."""
    found, changed = list(row), 0
    for at, value in enumerate(found):
        if not isinstance(value, str):
            continue
        if at in json_columns:
            if _SUSPECT.search(value) is None:
                continue
            new = json.dumps(_cleaned(json.loads(value)))
        else:
            new = _clean(value)
        if new != value and (at not in json_columns or json.loads(new) != json.loads(value)):
            found[at], changed = new, changed + 1
    return found, changed


def _cleaned(value: Any) -> Any:
    if isinstance(value, dict):
        return {_clean(key): _cleaned(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_cleaned(each) for each in value]
    return _clean(value) if isinstance(value, str) else value


def _clean(text: str) -> str:
    return _HALF.sub("\ufffd", text.replace("\0", NUL))
