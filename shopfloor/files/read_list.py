"""A CSV or XLSX file as rows of text, each with the line it stands on."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Final

from django.utils.translation import gettext as _

from shopfloor.files.apart import TooCostly, read_apart
from shopfloor.files.workbook import MAX_CELL, MAX_ROWS, Cell, ListError
from shopfloor.wording.visible import visible

MAX_BYTES: Final = 5 * 1024 * 1024
ENCODINGS: Final = ("utf-8", "cp1252")
__all__ = ["ENCODINGS", "MAX_BYTES", "Cell", "ListError", "Row", "neutral", "read_table"]


@dataclass(frozen=True, slots=True)
class Row:
    """One row by column name; `line` is where it begins in the file. A spreadsheet's own dates
    stay datetimes without a zone, everything else is text without outer blanks."""

    line: int
    cells: dict[str, Cell]

    def text(self, column: str) -> str:
        value = self.cells.get(column, "")
        return value.isoformat(" ", "minutes") if isinstance(value, datetime) else value


def read_table(
    raw: bytes,
    *,
    columns: tuple[str, ...],
    needed: tuple[str, ...],
    aliases: Mapping[str, str] | None = None,
    encoding: str = "utf-8",
) -> list[Row]:
    """Rows of a list whose first row names its columns, in any order and case. `aliases` gives
    other headings their column, or "" where they are passed over. Empty rows are passed over.
    Raises ListError where the whole file cannot be taken."""
    grid = _grid(raw, encoding)
    head_line, head = grid[0]
    names = _head(head_line, head, columns, needed, aliases or {})
    rows = []
    for line, values in grid[1:]:
        if not any(value != "" for value in values):
            continue
        if any(value != "" for value in values[len(names) :]):
            raise ListError(
                line,
                _("it has {count} cells, the first row names {columns}").format(
                    count=len(values), columns=len(names)
                ),
            )
        cells = {name: _shown(value) for name, value in zip(names, values, strict=False) if name}
        rows.append(Row(line, cells))
        if len(rows) > MAX_ROWS:
            raise ListError(
                line, _("more than {max_rows} rows; bring it in parts").format(max_rows=MAX_ROWS)
            )
    if not rows:
        raise ListError(head_line, _("there are column names but no rows"))
    return rows


@dataclass(frozen=True, slots=True)
class Heading:
    """One heading of a list as it stands there, in the letters `read_table` knows it by, and what
    the first rows hold under it."""

    text: str
    plain: str
    samples: tuple[str, ...]


def table_headings(raw: bytes, *, encoding: str = "utf-8", samples: int = 3) -> list[Heading]:
    """The headings of a list, as far as they have words. Raises ListError."""
    grid = _grid(raw, encoding)
    found: list[Heading] = []
    for place, cell in enumerate(grid[0][1]):
        values = (row[place] for _, row in grid[1:] if len(row) > place and row[place] != "")
        seen = [_sample(value) for value in islice(values, samples)]
        if plain := _plain(cell):
            if any(plain == one.plain for one in found):
                raise ListError(
                    grid[0][0], _("the heading {cell} is there twice").format(cell=_shown(cell))
                )
            found.append(Heading(str(_shown(cell)), plain, tuple(seen)))
    return found


def _sample(value: Cell) -> str:
    text = value.isoformat(" ", "minutes") if isinstance(value, datetime) else str(_shown(value))
    return text if len(text) <= 40 else f"{text[:40]}…"


def _plain(cell: Cell) -> str:
    return " ".join(visible(str(cell)).lower().replace("_", " ").split())


def _grid(raw: bytes, encoding: str) -> list[tuple[int, list[Cell]]]:
    if len(raw) > MAX_BYTES:
        raise ListError(
            1, _("the file is over {max_bytes} MB").format(max_bytes=MAX_BYTES // 1024 // 1024)
        )
    if not raw.strip():
        raise ListError(1, _("the file is empty"))
    grid = _read_xlsx(raw) if raw[:4] == b"PK\x03\x04" else _read_csv(raw, encoding)
    if not grid:
        raise ListError(1, _("there is no row in it"))
    return grid


def _shown(cell: Cell) -> Cell:
    return visible(cell).strip() if isinstance(cell, str) else cell


def _head(
    line: int,
    head: list[Cell],
    columns: tuple[str, ...],
    needed: tuple[str, ...],
    aliases: Mapping[str, str],
) -> list[str]:
    plains = [_plain(cell) for cell in head]
    while plains and not plains[-1]:
        plains.pop()
    names = [aliases.get(plain, plain) for plain in plains]
    for name in names:
        if name and name not in columns:
            raise ListError(
                line,
                _("unknown column {name!r}, allowed: {columns}").format(
                    name=name[:60], columns=", ".join(columns)
                ),
            )
        if name and names.count(name) > 1:
            raise ListError(line, _("column {name!r} is there twice").format(name=name))
    for name in needed:
        if name not in names:
            raise ListError(line, _("column {name!r} is missing").format(name=name))
    return names


def _decode(raw: bytes, encoding: str) -> str:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise ListError(1, _("it is UTF-16 text: save it as CSV UTF-8 or as XLSX"))
    try:
        return raw.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    except UnicodeDecodeError as problem:
        line = raw.count(b"\n", 0, problem.start) + 1
        words = (
            _(
                "byte {at} is not {encoding} text; choose Windows-1252 if an older spreadsheet "
                "wrote it"
            )
            if encoding == "utf-8"
            else _("byte {at} is not {encoding} text")
        )
        said = words.format(at=problem.start + 1, encoding=encoding)
        raise ListError(line, said) from None


def _read_csv(raw: bytes, encoding: str) -> list[tuple[int, list[Cell]]]:
    text = _decode(raw, encoding)
    if "\x00" in text:
        raise ListError(text.count("\n", 0, text.index("\x00")) + 1, _("it is not a text file"))
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text), strict=True)
    grid: list[tuple[int, list[Cell]]] = []
    line = 1
    try:
        for values in reader:
            if any(len(value) > MAX_CELL for value in values):
                raise ListError(
                    line, _("a cell is longer than {max_cell} letters").format(max_cell=MAX_CELL)
                )
            if values:
                grid.append((line, [value.strip() for value in values]))
            line = reader.line_num + 1
            if len(grid) > MAX_ROWS + 1:
                raise ListError(
                    line,
                    _("more than {max_rows} rows; bring it in parts").format(max_rows=MAX_ROWS),
                )
    except csv.Error as problem:
        raise ListError(line, _("not CSV: {problem}").format(problem=problem)) from None
    while grid and not any(grid[0][1]):
        grid.pop(0)
    return grid


def _separator(text: str) -> str:
    head = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;\t", key=head.count)


def _read_xlsx(raw: bytes) -> list[tuple[int, list[Cell]]]:
    try:
        grid: list[tuple[int, list[Cell]]] = read_apart("workbook", raw)
    except TooCostly as problem:
        raise ListError(1, str(problem)) from None
    return grid


def neutral(value: object) -> str:
    """A cell for a CSV we hand out: what a spreadsheet would take for a formula gets an
    apostrophe in front (common practice, no source)."""
    text = "" if value is None else str(value)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
