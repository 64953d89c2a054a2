"""Reading a chart CSV, in millimetres or inches, columns in any order."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from typing import Final

from planning.calc.chart.types import FIGURES, NEVER_ZERO, ChartError, ChartRow
from planning.calc.said import listed, said, told
from planning.calc.units import MM_PER_IN, GaugeOverrides, Thickness, UnitError

_TEXT: Final = ("set", "duty", "gas", "material")
# Column: (field, factor to SI). Lengths, and the speed, may be given in inches too.
_NUMBERS: Final[Mapping[str, tuple[str, float]]] = {
    **{name: (name, 1.0) for name in FIGURES},
    **{name.replace("_mm", "_in"): (name, MM_PER_IN) for name in FIGURES if "_mm" in name},
}
_THICKNESSES: Final = ("thickness_mm", "thickness_in", "gauge")
# Passed over: words for people.
_REMARKS: Final = frozenset(("note", "notes", "remark", "remarks", "comment"))
_MOST: Final = 1e9


def read_chart(text: bytes, overrides: GaugeOverrides | None = None) -> list[ChartRow]:
    """Rows of a chart, in the order of the file. ``overrides`` are the shop's own gauges.

    Needs ``set``, ``material``, a thickness (``thickness_mm``, ``thickness_in`` or ``gauge``) and a
    speed (``speed_mm_min`` or ``speed_in_min``) in every row; other cells may be blank. Raises
    ``ChartError`` naming the line.
    """
    try:
        decoded = text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = text[: error.start].count(b"\n") + 1
        raise ChartError(line, said("not UTF-8 text")) from error
    reader = csv.reader(io.StringIO(decoded, newline=""), strict=True)
    rows: list[ChartRow] = []
    columns: list[str] | None = None
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
                continue
            if columns is None:
                columns = _header(cells, reader.line_num)
            else:
                rows.append(_row(columns, cells, reader.line_num, overrides))
    except csv.Error as error:
        raise ChartError(
            reader.line_num, said("not a CSV line: {error}", error=str(error))
        ) from error
    if columns is None or not rows:
        raise ChartError(reader.line_num or 1, said("there is no row in the chart"))
    return rows


def _header(cells: list[str], line: int) -> list[str]:
    columns = [cell.strip().lower() for cell in cells]
    known = {*_TEXT, *_NUMBERS, *_THICKNESSES, *_REMARKS}
    for column in columns:
        if column not in known:
            raise ChartError(line, said("column {column!r} is not known", column=column))
        if columns.count(column) > 1:
            raise ChartError(line, said("column {column!r} is there twice", column=column))
    for needed in ("set", "material"):
        if needed not in columns:
            raise ChartError(line, said("column {needed!r} is missing", needed=needed))
    if not set(columns) & set(_THICKNESSES):
        raise ChartError(line, said("a column for the thickness is missing: thickness_mm"))
    if not set(columns) & {"speed_mm_min", "speed_in_min"}:
        raise ChartError(line, said("a column for the speed is missing: speed_mm_min"))
    return columns


def _row(
    columns: list[str], cells: list[str], line: int, overrides: GaugeOverrides | None
) -> ChartRow:
    if len(cells) > len(columns) and any(cell.strip() for cell in cells[len(columns) :]):
        raise ChartError(
            line,
            said("{cells} cells, but {columns} columns", cells=len(cells), columns=len(columns)),
        )
    given = {
        column: cell.strip() for column, cell in zip(columns, cells, strict=False) if cell.strip()
    }
    for needed in ("set", "material"):
        if needed not in given:
            raise ChartError(line, said("{needed} is blank", needed=needed))
    numbers: dict[str, float] = {}
    for column, cell in given.items():
        if column in _NUMBERS:
            field, factor = _NUMBERS[column]
            if field in numbers:
                raise ChartError(
                    line, said("{column} is given in two units; leave one blank", column=column)
                )
            numbers[field] = _number(column, cell, line, field not in NEVER_ZERO) * factor
    if "speed_mm_min" not in numbers:
        raise ChartError(line, said("the speed is blank"))
    thickness = _thickness(given, line, overrides)
    return ChartRow(
        set=given["set"],
        material=given["material"],
        thickness_mm=thickness.nominal_mm,
        thickness_text=thickness.text,
        duty=given.get("duty", ""),
        gas=given.get("gas", ""),
        line=line,
        **numbers,
    )


def _thickness(given: Mapping[str, str], line: int, overrides: GaugeOverrides | None) -> Thickness:
    found = [column for column in _THICKNESSES if column in given]
    if len(found) != 1:
        if not found:
            raise ChartError(line, said("the thickness is blank"))
        twice = listed(found, " and ")
        raise ChartError(line, said("the thickness is given twice: {found}", found=twice))
    column, cell = found[0], given[found[0]]
    if not cell[-1].isalpha() and '"' not in cell:
        cell += {"gauge": " ga", "thickness_in": " in", "thickness_mm": " mm"}[column]
    try:
        return Thickness.parse(cell, given["material"], overrides=overrides)
    except UnitError as error:
        raise ChartError(
            line, said("{column}: {error}", column=column, error=told(error))
        ) from error


def _number(column: str, cell: str, line: int, may_be_zero: bool) -> float:
    try:
        value = float(cell)
    except ValueError:
        raise ChartError(
            line, said("{column}: {cell!r} is not a number", column=column, cell=cell)
        ) from None
    least_ok = value >= 0 if may_be_zero else value > 0
    if not math.isfinite(value) or not least_ok:
        raise ChartError(line, said("{column}: {cell} is not above zero", column=column, cell=cell))
    if value > _MOST:
        raise ChartError(
            line,
            said("{column}: {cell} is above {most:.0e}", column=column, cell=cell, most=_MOST),
        )
    return value
