"""The first sheet of an XLSX workbook as rows of text. Read in a process of its own (`apart`)."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from datetime import datetime
from typing import Final

from planning.calc.said import said

MAX_ROWS: Final = 20_000
MAX_COLUMNS: Final = 200
MAX_UNPACKED: Final = 100 * 1024 * 1024
MAX_CELL: Final = 2_000

Cell = str | datetime


class ListError(ValueError):
    """A list that cannot be read at all. `line` counts from 1."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(f"{line}: {message}")
        self.line = line
        self.message = message

    def __reduce__(self) -> tuple[type[ListError], tuple[int, str]]:
        return type(self), (self.line, self.message)


def read_workbook(raw: bytes) -> list[tuple[int, list[Cell]]]:
    """The filled rows of the first sheet, each with its line. A spreadsheet's own dates stay
    datetimes without a zone; empty cells at the end of a row are left out."""
    try:
        return list(_rows(raw))
    except (ListError, MemoryError):
        raise
    except Exception as problem:
        # What a damaged workbook raises depends on which of its parts is damaged: zip, zlib, XML
        # and openpyxl have an error of their own for each. None of them is ours to tell apart.
        text = said("it is not a readable XLSX workbook ({name})", name=type(problem).__name__)
        raise ListError(1, text) from None


def _rows(raw: bytes) -> Iterator[tuple[int, list[Cell]]]:
    from openpyxl import load_workbook

    with zipfile.ZipFile(io.BytesIO(raw)) as packed:
        if sum(entry.file_size for entry in packed.infolist()) > MAX_UNPACKED:
            raise ListError(1, said("the workbook unpacks to more than 100 MB"))
    book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
    sheet = book.worksheets[0]
    # The size a sheet claims need not be its own: every row would be filled up to that width.
    sheet.reset_dimensions()
    for line, values in enumerate(sheet.iter_rows(values_only=True), 1):
        if line > MAX_ROWS * 2:
            raise ListError(
                line, said("more than {max_rows} rows; bring it in parts", max_rows=MAX_ROWS)
            )
        if any(value is not None for value in values[MAX_COLUMNS:]):
            raise ListError(line, said("more than {max_columns} columns", max_columns=MAX_COLUMNS))
        cells = [_cell(value) for value in values[:MAX_COLUMNS]]
        while cells and cells[-1] == "":
            cells.pop()
        if cells:
            yield line, cells


def _cell(value: object) -> Cell:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.replace(tzinfo=None)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value).strip()[:MAX_CELL]
