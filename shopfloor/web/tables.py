"""Every table of every page as a file: the page's address with `table` (which one) and `as` (csv or
xlsx). The page is drawn for its reader as always, and the table is taken from it by the values
that stand beside its words (`wording/typed.py`): rights and units are the page's own."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime
from html.parser import HTMLParser

from django.http import Http404, HttpRequest, HttpResponse

from shopfloor.files.export import TYPES, Sheet, Value, exported, file_name
from shopfloor.site.queries import the_shop
from shopfloor.wording.typed import MONEY, Typed

Handler = Callable[[HttpRequest], HttpResponse]
LEFT_OUT = ("total",)  # rows that a spreadsheet would add once more
SKIPPED = ("form", "button", "select", "svg", "script", "template")
NOTHING = ("", "–")
# Read from words are whole numbers alone: what has a mark in it means another number in another
# language, and carries its value.
NUMBER = re.compile(r"[+−-]?\d+")
DIGITS = 6
APART = ("small", "br", "p", "div", "li")  # their words do not run on from those before
SIGNS = ("$", "€", "£", "%")


def wanted(request: HttpRequest) -> str:
    """ "csv" or "xlsx" where a table is asked for as a file, else ""."""
    kind = request.GET.get("as", "")
    return kind if request.method == "GET" and kind in TYPES and "table" in request.GET else ""


class TableFiles:
    """Answers with a table of the page instead of the page, where that is asked for."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        kind = wanted(request)
        html = response.headers.get("Content-Type", "").startswith("text/html")
        if not kind or response.status_code != 200 or not html:
            return response
        found = sheets_of(response.content.decode())
        name = request.GET["table"]
        if name not in found:
            return HttpResponse(status=404)
        return as_file(found[name], kind)


def as_file(sheet: Sheet, kind: str) -> HttpResponse:
    response = HttpResponse(exported(sheet, kind), content_type=TYPES[kind])
    response["Content-Disposition"] = f'attachment; filename="{file_name(sheet, kind)}"'
    return response


def chosen(sheets: dict[str, Sheet], name: str) -> Sheet:
    if name not in sheets:
        raise Http404(f"there is no table {name!r} on this page")
    return sheets[name]


class Cell:
    """A cell while it is read: its words, and the values that stand beside them."""

    def __init__(self, *, number: bool = False, span: int = 1, rows: int = 1) -> None:
        self.number, self.span, self.rows = number, span, rows
        self.words: list[str] = []
        self.loose: list[str] = []  # words with no value beside them
        self.values: list[tuple[Value, str]] = []
        self.unknown = False

    @classmethod
    def of(cls, words: str, *, number: bool = False, span: int = 1) -> Cell:
        """A cell of words alone, which may know their value."""
        made = cls(number=number, span=span)
        made.words, made.unknown = [str(words)], words == "unknown"
        if isinstance(words, Typed):
            made.values = [(words.value, words.unit)]
        else:
            made.loose = made.words
        return made

    def value(self) -> tuple[Value, str]:
        """Its value and unit."""
        text = " ".join("".join(self.words).split())
        if self.unknown or text in NOTHING:
            return None, ""
        if len(self.values) == 1 and "".join(self.loose).strip() in ("", self.values[0][1]):
            value, unit = self.values[0]
            return round(value, DIGITS) if isinstance(value, float) else value, unit
        if self.number and NUMBER.fullmatch(text):
            return int(text.replace("−", "-")), ""
        return text, ""


def sheet_of(name: str, head_rows: list[list[Cell]], rows: list[list[Cell]]) -> Sheet:
    """Cells as values, a column's unit in its heading; columns of buttons alone are left out."""
    titles = _titles(head_rows)
    lines = [
        [pair for cell in row for pair in [cell.value(), *[(None, "")] * (cell.span - 1)]]
        for row in rows
    ]
    width = max([len(titles), *map(len, lines)])
    titles += [""] * (width - len(titles))
    lines = [[*line, *[(None, "")] * (width - len(line))] for line in lines]
    kept = [
        place for place in range(width)
        if titles[place] or any(line[place][0] is not None for line in lines)
    ]  # fmt: skip
    return Sheet(
        name,
        [_head(titles[place], {line[place][1] for line in lines} - {""}) for place in kept],
        [[line[place][0] for place in kept] for line in lines],
    )


def _titles(rows: list[list[Cell]]) -> list[str]:
    """A heading a column; where headings stand over each other, the upper one first."""
    found: dict[int, list[str]] = {}
    taken: set[tuple[int, int]] = set()
    for line, row in enumerate(rows):
        place = 0
        for cell in row:
            while (line, place) in taken:
                place += 1
            words = str(cell.value()[0] or "")
            for column in range(place, place + cell.span):
                found.setdefault(column, []).append(words)
                taken |= {(line + down, column) for down in range(cell.rows)}
            place += cell.span
    return [" ".join(word for word in found[at] if word) for at in sorted(found)]


def _head(title: str, units: set[str]) -> str:
    unit = the_shop().currency if units == {MONEY} else next(iter(units), "")
    if len(units) != 1 or title in SIGNS or title.endswith((f" {unit}", *SIGNS)) or title == unit:
        return title
    return f"{title}, {unit}" if title else unit


def sheets_of(html: str) -> dict[str, Sheet]:
    """The tables of a page by name: the label of the region each scrolls in, and a number from the
    second of that name on."""
    reader = _Reader()
    reader.feed(html)
    return reader.sheets


def unique(name: str, taken: dict[str, Sheet]) -> str:
    alike = sum(each == name or each.startswith(f"{name} #") for each in taken)
    return f"{name} #{alike + 1}" if alike else name


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.sheets: dict[str, Sheet] = {}
        self._regions: list[str] = []  # of the open divs: a region's label, or ""
        self._skipped = 0
        self._rows: list[list[Cell]] | None = None  # of the open table
        self._heads: list[list[Cell]] = []
        self._in_head = self._left_out = False
        self._cell: Cell | None = None
        self._value: tuple[Value, str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        of = dict(attrs)
        if tag in SKIPPED:
            self._skipped += 1
        elif tag == "div":
            self._regions.append(of.get("aria-label") or "" if of.get("role") == "region" else "")
        elif tag == "table":
            self._rows, self._heads = [], []
        elif tag in ("thead", "tbody"):
            self._in_head = tag == "thead"
        elif tag == "tr" and self._rows is not None:
            self._left_out = any(word in LEFT_OUT for word in (of.get("class") or "").split())
            (self._heads if self._in_head else self._rows).append([])
        elif tag in ("td", "th") and self._rows is not None:
            number = "num" in (of.get("class") or "").split()
            spans = [int(of.get(name) or 1) for name in ("colspan", "rowspan")]
            self._cell = Cell(number=number, span=spans[0], rows=spans[1])
        elif self._cell is not None:
            self._within(tag, of)

    def _within(self, tag: str, of: dict[str, str | None]) -> None:
        cell = self._cell
        if cell is None or self._skipped:
            return
        if tag in APART:
            cell.words.append(" ")
        elif tag == "data":
            self._value = _number(of.get("value") or "0"), of.get("data-unit") or ""
            cell.values.append(self._value)
        elif tag == "time" and of.get("datetime"):
            self._value = _moment(of["datetime"] or ""), ""
            cell.values.append(self._value)
        elif "unknown" in (of.get("class") or "").split():
            cell.unknown = True

    def handle_data(self, data: str) -> None:
        if self._cell is None or self._skipped:
            return
        self._cell.words.append(data)
        if self._value is None:
            self._cell.loose.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag in SKIPPED:
            self._skipped = max(0, self._skipped - 1)
        elif tag == "div" and self._regions:
            self._regions.pop()
        elif tag in ("data", "time"):
            self._value = None
        elif tag in ("td", "th") and self._cell is not None and self._rows is not None:
            rows = self._heads if self._in_head else self._rows
            rows[-1].append(self._cell)
            self._cell = None
        elif tag == "tr" and self._left_out and self._rows:
            self._rows.pop()
            self._left_out = False
        elif tag == "table" and self._rows is not None:
            label = next((one for one in reversed(self._regions) if one), "Table")
            name = unique(label, self.sheets)
            rows = [row for row in self._rows if row]
            self.sheets[name] = sheet_of(name, self._heads, rows)
            self._rows = None


def _number(text: str) -> float | int:
    """A value as `typed.machine` writes it."""
    return int(text) if text.lstrip("-").isdecimal() else float(text)


def _moment(text: str) -> Value:
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
