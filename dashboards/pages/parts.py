"""Pieces every Dash page is made of: the same marks and classes as the Django pages, so that one
style sheet serves both."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any, cast

from dash import Dash, Input, Output, dcc, html
from django.utils.translation import gettext as _

from dashboards import theme
from dashboards.access import Reader, reader_of
from dashboards.pages import marks
from dashboards.shell import current_request
from dashboards.theme import CONFIG, LIGHT, Palette
from planning.calc.numbers import filled
from shopfloor.files.export import Sheet
from shopfloor.web import tables
from shopfloor.wording.typed import Typed, machine

log = logging.getLogger(__name__)
SLIM = 4  # a table of so few columns fits a phone
Component = Any  # a Dash component or a list of them


@dataclass(frozen=True, slots=True)
class PageReader:
    """Who looks at the page, and in which colours."""

    reader: Reader
    palette: Palette


def current_reader() -> PageReader:
    """The person whose request Dash is answering; nobody outside of one."""
    request = current_request()
    if request is None:
        return PageReader(Reader(), LIGHT)
    user: Any = request.user
    chosen = getattr(user, "theme", "") if user.is_authenticated else ""
    return PageReader(reader_of(user), theme.palette_of(chosen, request.COOKIES))


def aria(label: str) -> dict[str, Any]:
    """What a screen reader calls it."""
    return {"aria-label": label}


def current(on: bool) -> dict[str, Any]:
    """The mark of the chosen one among links."""
    return {"aria-current": "true"} if on else {}


def data_print() -> dict[str, Any]:
    """The mark of a button that prints the page."""
    return {"data-print": "yes"}


def frame_of(words: str) -> Callable[[], Component]:
    """A page's layout before anything was asked: feint rules and a sentence."""

    def layout() -> Component:
        return html.Div([dcc.Location(id="at"), html.Div(state("loading", text=words), id="page")])

    return layout


def wire(app: Dash, draw: Callable[[str | None], Component]) -> None:
    """One callback draws the page from its address; what fails in it becomes a message."""
    app.callback(Output("page", "children"), Input("at", "search"), on_error=failed)(draw)


def failed(problem: Exception) -> Component:
    """The page that could not be drawn: what is safe and what to do."""
    log.error("a page could not be drawn", exc_info=problem)
    return html.Div(
        state(
            "failed",
            head=_("This page could not be drawn."),
            text=_(
                "Nothing is lost: its figures stay where they are kept. Load the page again; the "
                "log of the web process says what went wrong."
            ),
        ),
        className="failed-page",
    )


def state(kind: str, *, head: str = "", text: str = "") -> Component:
    """loading, empty, stale or failed, in words."""
    inside: list[Component] = [html.P(head, className="head")] if head else []
    inside += [html.P(text)] if text else []
    role = {"failed": "alert", "empty": "note"}.get(kind, "status")
    return html.Div(html.Div(inside), className=f"state {kind}", role=role)


def dateline(
    title: str, sub: str, lede: Component, picker: Component = None, margin: str = ""
) -> Component:
    """The head of a page with its one sentence."""
    head: list[Component] = [html.H1([f"{title} ", html.Small(sub)] if sub else title)]
    head += [picker] if picker is not None else []
    head.append(html.P(lede, className="lede"))
    return html.Div(
        [
            html.Div(head, className="dateline"),
            html.Div(html.H2(margin or _("In the margin")), className="m-head"),
        ],
        className="two",
    )


def page_with_margin(content: Component, margin: Component) -> Component:
    """The sheet and the margin beside it."""
    return html.Div(
        [
            html.Div(content, className="sheet"),
            html.Aside(margin, className="marg", **aria(_("In the margin"))),
        ],
        className="two",
    )


def section(title: str, *inside: Component, key: str = "", id: str | None = None) -> Component:
    """A ruled block with its heading."""
    named: dict[str, Any] = {"id": id} if id else {}
    bar: list[Component] = [html.H2(title)] + ([html.Span(key, className="key")] if key else [])
    return html.Section([html.Div(bar, className="bar"), *inside], **named)


def picker(choices: Sequence[tuple[str, str, bool]], label: str) -> Component:
    """Links of which one is chosen: (words, address, chosen)."""
    links = [html.A(words, href=url, **current(on)) for words, url, on in choices]
    return html.Nav(links, className="picker", **aria(label))


def note(kind: str, head: str, body: str, acts: Sequence[tuple[str, str]] = ()) -> Component:
    """A note in the margin: what, the evidence, and the action in it."""
    inside: list[Component] = [html.Span(head, className="head")]
    inside += [html.P(body)] if body else []
    for index, (words, url) in enumerate(acts):
        inside.append(html.A(words, href=url, className="act second" if index else "act"))
    return html.Div(inside, className=f"note {kind}")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a ledger; `num` right-aligned, `pencil` for what was planned."""

    head: str
    num: bool = False
    pencil: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """A figure in a ledger: where it opens, and whether it is off plan."""

    text: str
    url: str = ""
    off: bool = False
    unknown: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A row of a ledger; `kind` total, rest, sel or blank."""

    cells: tuple[Cell | str, ...]
    kind: str = ""
    span: int = 1  # columns the first cell takes


def ledger(
    label: str, columns: Sequence[Column], lines: Sequence[Line], *, caption: str = ""
) -> Component:
    """A ruled table that scrolls by itself where it is too wide; as a file, the same cells."""
    if (taken := _taken.get()) is not None:
        taken[tables.unique(label, taken)] = _sheet(label, columns, lines)
    heads = [
        html.Th(column.head, className="num" if column.num else "", scope="col")
        for column in columns
    ]
    body: list[Component] = [marks.Tr(_cells(line, columns), className=line.kind) for line in lines]
    inside: list[Component] = [html.Caption(caption)] if caption else []
    inside += [html.Thead(html.Tr(heads)), html.Tbody(body)]
    return html.Div(
        html.Table(inside, className="ledger slim" if len(columns) <= SLIM else "ledger"),
        className="scroll",
        tabIndex="0",
        role="region",
        **aria(label),
    )


_taken: ContextVar[dict[str, Sheet] | None] = ContextVar("kerfbook_tables", default=None)


@contextmanager
def tables_taken() -> Iterator[dict[str, Sheet]]:
    """The tables drawn meanwhile, by label, as data."""
    sheets: dict[str, Sheet] = {}
    token = _taken.set(sheets)
    try:
        yield sheets
    finally:
        _taken.reset(token)


def _sheet(label: str, columns: Sequence[Column], lines: Sequence[Line]) -> Sheet:
    heads = [tables.Cell.of(column.head) for column in columns]
    rows = []
    for line in lines:
        if line.kind in tables.LEFT_OUT:
            continue
        cells = []
        for index, cell in enumerate(line.cells):
            number = columns[index + (line.span - 1 if index else 0)].num
            words = cell.text if isinstance(cell, Cell) else cell
            cells.append(tables.Cell.of(words, number=number, span=1 if index else line.span))
        rows.append(cells)
    return tables.sheet_of(label, [heads], rows)


def _cells(line: Line, columns: Sequence[Column]) -> list[Component]:
    found = []
    for index, cell in enumerate(line.cells):
        place = index + (line.span - 1 if index else 0)
        column = columns[place]
        entry = cell if isinstance(cell, Cell) else Cell(cell)
        kinds = [("num", column.num), ("pencil", column.pencil), ("off", entry.off)]
        inside: Component = entry.text
        if entry.url:
            inside = marks.A(entry.text, className="opens", href=entry.url)
        elif entry.unknown or entry.text == theme.UNKNOWN:
            inside = marks.Span(entry.text, className="unknown")
        sort: dict[str, Any] = {}
        if isinstance(entry.text, Typed):
            sort = {"data-sort": machine(entry.text.value)}
        found.append(
            marks.Td(
                inside,
                **sort,
                className=" ".join(word for word, on in kinds if on),
                colSpan=line.span if index == 0 and line.span > 1 else 1,
            )
        )
    return found


def chart(figure: Any, label: str, height_px: int, name: str) -> Component:
    """A figure without a bar of buttons, named for who cannot see it."""
    return html.Figure(
        dcc.Graph(
            id=name,
            figure=figure,
            config=cast(Any, CONFIG),
            responsive=True,
            style={"height": height_px},
        ),
        role="img",
        className=f"chart {current_reader().palette.name}",
        **aria(label),
    )


def collapsible(words: str, *inside: Component) -> Component:
    """A chart's table, one press away."""
    return html.Details([html.Summary(words), *inside], className="as-table")


def with_bold(message: str, **values: Any) -> list[Component]:
    """A message whose `<b>…</b>` is bold on the page."""
    pieces = re.split(r"<b>(.*?)</b>", message)
    said = [filled(piece, **values) for piece in pieces]
    return [html.B(text) if place % 2 else text for place, text in enumerate(said) if text]
