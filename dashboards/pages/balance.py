"""Duty by duty: minutes planned and burnt day by day, and what a nest would take by each set."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from urllib.parse import parse_qs, urlencode

from dash import Dash, dcc, html
from django.urls import reverse
from django.utils.translation import gettext as _

from dashboards import data, theme
from dashboards.figures.days import HEIGHT_PX, days_figure
from dashboards.ledgers import balance as ledgers
from dashboards.pages import marks, parts
from dashboards.pages.balance_sets import sets_table
from dashboards.pages.parts import Column, Component, Line, PageReader
from planning.calc.dates import DAY, WEEKDAY, dated
from planning.calc.numbers import filled
from shopfloor.chart.duties import CODES, DUTIES, SQUARE, UNKNOWN, duty_word

PREFIX = "/balance/"
RANGES = (7, 14, 28, 91)  # days
USUAL = 14
AHEAD = 3  # days after today that show what waits


def register(app: Dash) -> None:
    app.layout = parts.frame_of(_("Reading the days"))
    parts.wire(app, page)


def page(search: str | None) -> Component:
    """The range and table in the address, else two weeks of all tables."""
    asked = {name: values[0] for name, values in parse_qs((search or "").lstrip("?")).items()}
    today = data.now().astimezone(data.zone()).date()
    span = _span(asked.get("days", ""))
    first, last = today - timedelta(days=span - 1), today + timedelta(days=AHEAD)
    frame = data.balance_days(first, last)
    nest = asked.get("nest", "")
    return drawn(
        frame, first, last, today, span, asked.get("table", ""), nest, parts.current_reader()
    )


def sets(nest: Any) -> Component:
    """What the chosen nest takes by each set."""
    if nest is None:
        return parts.state("empty", text=_("Choose a nest to see what each set would take."))
    try:
        frame = data.nest_by_sets(int(nest))
    except (LookupError, ValueError):
        return parts.state("empty", text=_("There is no such nest any more. Choose another one."))
    return sets_table(ledgers.sets(frame), parts.current_reader().reader, data.currency())


def drawn(
    frame: Any,
    first: date,
    last: date,
    today: date,
    span: int,
    table: str,
    nest: str,
    who: PageReader,
) -> Component:
    """The whole page."""
    days = ledgers.days(frame, first, last, table)
    names = ledgers.tables(frame)
    shown = [day for day in days if day.day < today]
    known_from = frame.attrs.get("known_from", first)
    return html.Div(
        [
            parts.dateline(
                _("Balance"),
                _("{start} to {end}, {table}").format(
                    start=dated(first, DAY),
                    end=dated(today, DAY),
                    table=table or _("all tables"),
                ),
                lede(shown, known_from),
                _ranges(span, table),
            ),
            parts.page_with_margin(
                [
                    html.Div(
                        [_chart(days, today, who, known_from), _table(days, table)],
                        className="cols",
                    ),
                    parts.section(
                        _("What a nest would take"),
                        *_nest(nest, span, table),
                        key=_("planned minutes and money on each table and set"),
                    ),
                ],
                _margin(names, span, table),
            ),
        ],
        className="balance-page",
    )


def lede(days: list[ledgers.Day], known_from: date | None) -> Component:
    """How much was cut fine, of what, against the plan, on days that are over; and from when on
    that is known."""
    if days and (known_from is None or known_from > days[-1].day) and not _any(days):
        return _("Unknown: no source listened to a table.")
    said = _said(days)
    if not days or known_from is None or known_from <= days[0].day:
        return said
    before = _("Days before {day} are unknown: no source listened to a table yet.").format(
        day=dated(known_from, DAY)
    )
    return [*said, " ", before]


def _any(days: list[ledgers.Day]) -> bool:
    return any(day.burnt_min or day.planned_min for day in days)


def _said(days: list[ledgers.Day]) -> list[Component]:
    burnt = sum(day.burnt_min for day in days)
    planned = sum(day.planned_min for day in days)
    square = sum(day.burnt[code] for code in SQUARE for day in days)
    loose = sum(day.burnt["unassigned"] for day in days)
    if not burnt:
        return [_("Nothing was burnt before today in this time.")]
    whole = theme.span(burnt * 60)
    how = ", ".join(duty_word(code) for code in SQUARE)
    words = filled(
        _("{square:.0f} % of {whole} on the torch was cut {how}."),
        square=square / burnt * 100,
        whole=whole,
        how=how,
    )
    if not planned:
        return [words]
    over = burnt - planned
    if over <= 0:
        against = _("Before today the tables burnt <b>{over} less than planned</b>.")
    elif loose < 1:
        against = _("Before today the tables burnt <b>{over} more than planned</b>.")
    else:
        against = _(
            "Before today the tables burnt <b>{over} more than planned</b>, {loose} of it in no "
            "run."
        )
    spans = {"over": theme.span(abs(over) * 60), "loose": theme.span(loose * 60)}
    return [*parts.with_bold(against, **spans), " ", words]


def _chart(
    days: list[ledgers.Day], today: date, who: PageReader, known_from: date | None
) -> Component:
    fills = "; ".join(f"{duty.looks}: {duty.label}" for duty in reversed(DUTIES))
    key = html.P(
        _("{fills}; open beside them: planned, {label} on top").format(
            fills=fills, label=DUTIES[0].label
        ),
        className="key",
    )
    if not _any(days):
        words = _("Nothing was burnt or planned in these days. Runs fill this page once they end.")
        if known_from is None or known_from > today:
            words = _("What was burnt in these days is unknown: no source listened to a table.")
        return parts.section(_("Minutes by day"), parts.state("empty", text=words))
    figure = days_figure(days, who.palette, today=today)
    duties = ", ".join(str(duty.label) for duty in DUTIES)
    label = _("Torch minutes by day, {duties}, burnt beside planned").format(duties=duties)
    return parts.section(_("Minutes by day"), key, parts.chart(figure, label, HEIGHT_PX, "days"))


def _table(days: list[ledgers.Day], table: str) -> Component:
    kinds = list(CODES)
    if any(UNKNOWN in day.burnt for day in days):
        kinds.append(UNKNOWN)
    columns = (
        Column(_("Day")),
        *(Column(duty_word(code).capitalize(), num=True) for code in kinds),
        Column(_("No run"), num=True),
        Column(_("Plan"), num=True, pencil=True),
        Column(_("Runs"), num=True),
    )
    worked = [day for day in reversed(days) if day.burnt_min or day.planned_min]
    lines = [
        Line(
            (
                dated(day.day, WEEKDAY),
                *(_minutes(day, code, table) for code in kinds),
                _minutes(day, "unassigned", table),
                _minutes(day, "planned", table),
                str(day.runs) if day.runs else theme.NONE,
            )
        )
        for day in worked[:14]
    ]
    if not lines:
        return parts.section(
            _("Day by day"), parts.state("empty", text=_("No day has a minute yet."))
        )
    made = parts.ledger(_("Day by day"), columns, lines)
    return parts.section(_("Day by day"), made, key=_("torch minutes; the newest first"))


def _minutes(day: ledgers.Day, what: str, table: str) -> parts.Cell:
    """Minutes of a day that open to the runs and arcs they are of."""
    value = day.planned_min if what == "planned" else day.burnt.get(what)
    if not value:
        return parts.Cell(theme.NONE)
    key = ":".join(part for part in (str(day.day), what, table) if part)
    off = what == "unassigned" and value >= 1
    return parts.Cell(theme.minutes(value), reverse("figure", args=["day", key]), off)


def _ranges(span: int, table: str) -> Component:
    choices = [
        (
            theme.count(length // 7, "{n} week", "{n} weeks"),
            _address(days=length, table=table),
            length == span,
        )
        for length in RANGES
    ]
    return parts.picker(choices, _("How far back"))


def _nest(nest: str, span: int, table: str) -> list[Component]:
    """The nest asked for, else the newest, under a plain form: a name or a piece of it is typed,
    the newest are offered. It works by keyboard and by ear, and its address can be kept."""
    chosen = data.nest_asked_for(nest)
    options: list[Component] = [marks.Option(None, value=name) for name in data.nests_offered()]
    kept = {"days": str(span), "table": table}
    hidden = [
        dcc.Input(type="hidden", name=name, value=value) for name, value in kept.items() if value
    ]
    form = html.Form(
        [
            *hidden,
            html.Div(
                [
                    html.Label(_("Nest"), htmlFor="nest"),
                    dcc.Input(
                        id="nest",
                        name="nest",
                        type="search",
                        list="nests",
                        debounce=True,
                        value=chosen[1] if chosen else nest,
                        autoComplete="off",
                    ),
                    html.Datalist(options, id="nests"),
                ],
                className="field",
            ),
            html.Button(_("Show"), type="submit", className="btn quiet"),
        ],
        className="filters chooser",
        method="get",
        action=PREFIX,
    )
    return [form, html.Div(_taken(nest, chosen), id="sets")]


def _taken(nest: str, chosen: tuple[int, str] | None) -> Component:
    if nest and chosen is None:
        return parts.state(
            "empty", text=_("No nest has {nest} in its name.").format(nest=nest[:80])
        )
    return sets(chosen[0] if chosen else None)


def _margin(names: list[str], span: int, table: str) -> list[Component]:
    links = [(_("All tables"), _address(days=span, table=""), not table)]
    links += [(name, _address(days=span, table=name), name == table) for name in names]
    return [
        html.Div([html.H3(_("Tables")), parts.picker(links, _("Tables"))], className="note-block"),
        parts.note(
            "soon",
            _("Planned and burnt"),
            _(
                "Planned minutes are of the runs begun that day, and from "
                "today on of what waits in "
                "the queue. Burnt minutes are arc time, so two torches at once count twice."
            ),
            [(_("Open the queue"), reverse("queue"))],
        ),
        parts.note(
            "soon",
            _("Measures of ISO 22400-2"),
            _("Ratios of time and parts by table, with what they rest on."),
            [
                (_("Open the measures"), reverse("measures")),
                (_("A week or a month at a glance"), reverse("glance")),
            ],
        ),
    ]


def _address(**asked: Any) -> str:
    kept = {name: value for name, value in asked.items() if value}
    return f"{PREFIX}?{urlencode(kept)}" if kept else PREFIX


def _span(text: str) -> int:
    known = {str(days): days for days in RANGES}
    return known.get(text, USUAL)
