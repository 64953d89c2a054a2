"""A table as a file: CSV and XLSX, with what a spreadsheet would take for a formula kept as text.
Numbers are plain numbers, their unit stands in the heading; what is unknown is an empty cell."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from shopfloor.files.read_list import neutral

Value = str | float | date | datetime | None
TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
MOST_ROWS = 20_000
MOST_TEXT = 32_000  # in a cell of a workbook


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as data: its name, its headings, and rows of values."""

    name: str
    heads: Sequence[str]
    rows: Iterable[Sequence[Value]]


def exported(sheet: Sheet, kind: str) -> bytes:
    """The file. `kind` is one of TYPES."""
    return to_csv(sheet) if kind == "csv" else to_xlsx(sheet)


def file_name(sheet: Sheet, kind: str) -> str:
    plain = re.sub(r"[^a-z0-9]+", "-", sheet.name.lower()).strip("-")
    return f"{plain[:60] or 'table'}.{kind}"


def to_csv(sheet: Sheet) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([neutral(head) for head in sheet.heads])
    writer.writerows([_plain(value) for value in row] for row in sheet.rows)
    return out.getvalue().encode()


def _plain(value: Value) -> str | float | None:
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M")
    if isinstance(value, date):
        return value.isoformat()
    return neutral(value) if isinstance(value, str) else value


def to_xlsx(sheet: Sheet) -> bytes:
    book = Workbook(write_only=True)
    page = book.create_sheet(re.sub(r"[\\/*?:\[\]]", " ", sheet.name)[:31].strip("' ") or "Table")
    for row in (sheet.heads, *sheet.rows):
        cells = []
        for value in row:
            if isinstance(value, str):
                cell = WriteOnlyCell(page, ILLEGAL_CHARACTERS_RE.sub("", value)[:MOST_TEXT])
                cell.data_type = "s"  # whatever it begins with, it is no formula
            else:
                cell = WriteOnlyCell(page, value)  # type: ignore[arg-type]  # a date too
            cells.append(cell)
        page.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
