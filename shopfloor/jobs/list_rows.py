"""What a row of a job list means. Faults are sentences; the caller adds file and line."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from planning.calc.said import to_reader, told
from planning.calc.units import Thickness, UnitError
from shopfloor.files.read_list import Cell, Row
from shopfloor.site.calendar import wall_to_utc

COLUMNS: Final = (
    "job", "customer", "title", "due", "line", "part", "quantity", "material", "thickness",
    "asked u range", "next step", "must be fine", "quote",
)  # fmt: skip
NEEDED: Final = ("job", "part", "quantity", "material", "thickness")
ALIASES: Final = {
    "qty": "quantity", "job number": "job", "due date": "due", "u range": "asked u range",
    "part number": "part",
}  # fmt: skip
T = TypeVar("T")
DATE_ORDERS: Final = ("none", "month", "day")
_YES: Final = {"yes": True, "y": True, "1": True, "true": True, "x": True}
_NO: Final = {"": False, "no": False, "n": False, "0": False, "false": False}


class RowError(ValueError):
    """What is wrong with one row."""


@dataclass(frozen=True, slots=True)
class JobRow:
    """One row, understood. Blank job fields mean "as the rows before it say"; `number` None
    means the next line of that job in this file. `quote` is in whole currency, exact."""

    line: int
    job: str
    customer: str
    title: str
    due_at: datetime | None
    number: int | None
    part: str
    quantity: int
    material: str
    thickness_text: str
    thickness_mm: float
    u_range_asked: int | None
    next_step: str
    must_be_fine: bool
    quote: Decimal | None


def read_row(
    row: Row,
    *,
    families: Mapping[str, str],
    zone: ZoneInfo,
    date_order: str = "none",
    inch_shop: bool = False,
) -> JobRow:
    """Understand a row. `families` maps each material's code as the shop writes it to its
    family. Raises RowError with everything that is wrong, in column order."""
    reader = _Reader()
    material = reader.take(lambda: _material(row.text("material"), families), "")
    done = JobRow(
        line=row.line,
        job=reader.take(lambda: _words(row, "job", 40), ""),
        customer=reader.take(lambda: _words(row, "customer", 120, blank=True), ""),
        title=reader.take(lambda: _words(row, "title", 160, blank=True), ""),
        due_at=reader.take(lambda: due_of(row.cells.get("due", ""), zone, date_order), None),
        number=reader.take(lambda: _whole(row, "line", 32_000, blank=True), None),
        part=reader.take(lambda: _words(row, "part", 80), ""),
        quantity=reader.take(lambda: _whole(row, "quantity", 1_000_000) or 0, 0),
        material=material,
        thickness_text=row.text("thickness")[:40],
        thickness_mm=reader.take(
            lambda: _thickness(row, families.get(material, ""), inch_shop), 0.0
        ),
        u_range_asked=reader.take(lambda: _whole(row, "asked u range", 5, blank=True), None),
        next_step=reader.take(lambda: _words(row, "next step", 40, blank=True).lower(), ""),
        must_be_fine=reader.take(lambda: _flag(row, "must be fine"), False),
        quote=reader.take(lambda: money_of(row.text("quote")), None),
    )
    if reader.faults:
        raise RowError("; ".join(reader.faults))
    return done


class _Reader:
    """Collects faults, so that one preview shows all that is wrong with a row."""

    def __init__(self) -> None:
        self.faults: list[str] = []

    def take(self, read: Callable[[], T], blank: T) -> T:
        try:
            return read()
        except RowError as fault:
            self.faults.append(str(fault))
            return blank


def _words(row: Row, column: str, most: int, *, blank: bool = False) -> str:
    text = " ".join(row.text(column).split())
    if not text and not blank:
        raise RowError(_("{column} is empty").format(column=column))
    if len(text) > most:
        raise RowError(_("{column} is longer than {most} letters").format(column=column, most=most))
    if any(ord(letter) < 32 or 0xD800 <= ord(letter) < 0xE000 for letter in text):
        raise RowError(_("{column} holds a control character").format(column=column))
    return text


def _whole(row: Row, column: str, most: int, *, blank: bool = False) -> int | None:
    text = row.text(column)
    if not text and blank:
        return None
    if not re.fullmatch(r"[0-9]{1,9}(?:[.,]0+)?", text):
        raise RowError(
            _("{column} {text!r} is not a whole number").format(column=column, text=text[:30])
        )
    number = int(re.split(r"[.,]", text)[0])
    if not 1 <= number <= most:
        raise RowError(
            _("{column} {number} is out of range, allowed: 1 to {most}").format(
                column=column, number=number, most=most
            )
        )
    return number


def _flag(row: Row, column: str) -> bool:
    text = row.text(column).lower()
    if text in _YES or text in _NO:
        return _YES.get(text, False)
    raise RowError(
        _("{column} {text!r} is neither yes nor no").format(column=column, text=text[:30])
    )


def _material(text: str, families: Mapping[str, str]) -> str:
    for code in families:
        if code.lower() == text.lower():
            return code
    known = ", ".join(sorted(families)) or _("none yet")
    raise RowError(
        _("material {text!r} is not known; the shop has: {known}").format(
            text=text[:40], known=known
        )
    )


def _thickness(row: Row, family: str, inch_shop: bool) -> float:
    text = row.text("thickness")
    if not text:
        raise RowError(_("thickness is empty"))
    if len(text) > 40:
        raise RowError(_("thickness is longer than 40 letters"))
    try:
        return Thickness.parse(text, family, inch_shop=inch_shop).nominal_mm
    except UnitError as problem:
        raise RowError(
            _("thickness: {problem}").format(problem=to_reader(told(problem), inch=False))
        ) from None


_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]+(\d{1,2}):(\d{2})(?::\d{2})?)?")
_SLASH = re.compile(r"(\d{1,2})[/.](\d{1,2})[/.](\d{4})(?: +(\d{1,2}):(\d{2}))?")
END_OF_DAY: Final = time(23, 59)


def due_of(cell: Cell, zone: ZoneInfo, date_order: str = "none") -> datetime | None:
    """A due time in UTC from a date or date and time on the shop's clock; a date alone means by
    the end of that day. Dates like 10/08/2026 need their order told ("month" or "day" first)."""
    if cell == "":
        return None
    if isinstance(cell, datetime):
        clock = cell.time() if cell.time() != time(0) else END_OF_DAY
        return _on_clock(cell.date(), clock, zone)
    if found := _ISO.fullmatch(cell):
        year, month, day = int(found[1]), int(found[2]), int(found[3])
    elif found := _SLASH.fullmatch(cell):
        if date_order == "none":
            raise RowError(
                _("due {cell!r}: say on the page before whether month or day comes first").format(
                    cell=cell
                )
            )
        first, second, year = int(found[1]), int(found[2]), int(found[3])
        month, day = (first, second) if date_order == "month" else (second, first)
    else:
        raise RowError(
            _("due {cell!r} is not a date such as 2026-10-08 or 2026-10-08 13:30").format(
                cell=cell[:30]
            )
        )
    try:
        clock = time(int(found[4]), int(found[5])) if found[4] else END_OF_DAY
        return _on_clock(date(year, month, day), clock, zone)
    except ValueError:
        raise RowError(_("due {cell!r} is not in the calendar").format(cell=cell)) from None


def _on_clock(day: date, clock: time, zone: ZoneInfo) -> datetime:
    if not 2000 <= day.year <= 2100:
        raise RowError(_("due {day} is not within 2000 to 2100").format(day=day))
    return wall_to_utc(day, clock, zone)


def money_of(text: str) -> Decimal | None:
    """An amount: 1234.5, 1,234.50 or, with a decimal comma, 1234,50; a currency sign may stand
    before it. None where it is empty."""
    bare = text.strip().lstrip("$€£").strip()
    if not bare:
        return None
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d{1,4})?", bare):
        bare = bare.replace(",", "")
    elif re.fullmatch(r"\d{1,10},\d{1,2}", bare):
        bare = bare.replace(",", ".")
    if not re.fullmatch(r"\d{1,10}(\.\d{1,4})?", bare):
        raise RowError(_("quote {text!r} is not an amount such as 1250.00").format(text=text[:30]))
    return Decimal(bare)
