"""A nest on every table and set that could cut it, side by side."""

from __future__ import annotations

from typing import Any

from dash import html
from django.urls import reverse
from django.utils.translation import gettext as _

from dashboards import data, theme
from dashboards.access import Reader
from dashboards.pages import parts
from dashboards.pages.parts import Cell, Column, Component, Line
from shopfloor.chart.duties import duty_word


def sets_table(rows: list[dict[str, Any]], reader: Reader, currency: tuple[str, int]) -> Component:
    """Minutes, and where they may be seen the amounts; then why a set is refused."""
    if not rows:
        words = _("This nest has no plan yet. It is made in the background; load the page again.")
        return parts.state("empty", text=words)
    able = [row for row in rows if not row["problem"]]
    chosen = next((row for row in able if row["chosen"]), None)
    found: list[Component] = []
    if able:
        columns = _columns(reader, currency[0])
        lines = [_line(row, chosen, reader, currency[1]) for row in able]
        caption = _("● is the nest's own route; minutes and cost are of one sheet, material apart")
        made = [row["computed_at"] for row in able if row["computed_at"] is not None]
        if made:
            age_s = (data.now() - min(made)).total_seconds()
            caption = _(
                "● is the nest's own route; minutes and cost are of one sheet, material apart; "
                "worked out {age} ago"
            ).format(age=theme.age(age_s))
        table = parts.ledger(_("By table and set"), columns, lines)
        found += [table, html.P(caption, className="key")]
    refused = [row for row in rows if row["problem"]]
    if refused:
        why = "problem_in" if reader.inch else "problem"
        entries = [
            html.Li([html.B(f"{row['table']}, {row['wear_set']}: "), str(row[why])])
            for row in refused
        ]
        found += [html.H3(_("Refused")), html.Ul(entries, className="refused")]
    return html.Div(found)


def _columns(reader: Reader, currency: str) -> list[Column]:
    columns = [
        Column(_("Table")),
        Column(_("Set")),
        Column(_("Duty")),
        Column(_("Pierces"), num=True),
        Column(_("Cut"), num=True),
        Column(_("Pierce"), num=True),
        Column(_("Travel, touch-off"), num=True),
        Column(_("In all, min"), num=True),
        Column(_("Bench, min"), num=True),
        Column(_("More, min"), num=True),
    ]
    if reader.cost:
        columns += [
            Column(_("Wear, {currency}").format(currency=currency), num=True),
            Column(_("Cost, {currency}").format(currency=currency), num=True),
        ]
    return columns


def _line(row: dict[str, Any], chosen: dict[str, Any] | None, reader: Reader, digits: int) -> Line:
    mark = "● " if row["chosen"] else ""
    cells: list[Cell | str] = [
        f"{mark}{row['table']}",
        str(row["wear_set"]),
        duty_word(row["duty"]),
        theme.NONE if row["pierces"] is None else theme.number(row["pierces"]),
        _min(row["cut_s"]),
        _min(row["pierce_s"]),
        _min(_travel(row)),
        Cell(_min(row["total_s"]), _plan(row)),
        theme.minutes(row["bench_min"]),
        _against(row, chosen),
    ]
    if reader.cost:
        least = " least" if row["least"] else ""
        cells += [
            theme.money(row["wear_minor"], digits),
            f"{theme.money(row['cost_minor'], digits)}{least}",
        ]
    return Line(tuple(cells), "sel" if row["chosen"] else "")


def _plan(row: dict[str, Any]) -> str:
    return reverse("figure", args=["plan", row["plan_id"]]) if row.get("plan_id") else ""


def _travel(row: dict[str, Any]) -> float | None:
    """What is neither cutting nor piercing of the program, so that the columns sum."""
    parts_s = [row["travel_s"], row.get("touch_off_s") or 0.0]
    return None if parts_s[0] is None else sum(parts_s)


def _min(seconds: float | None) -> str:
    return theme.UNKNOWN if seconds is None else theme.number(seconds / 60, 1, unit=_("min"))


def _against(row: dict[str, Any], chosen: dict[str, Any] | None) -> str:
    """Minutes more or less than the nest's own route."""
    if chosen is None or row is chosen:
        return ""
    if row["total_s"] is None or chosen["total_s"] is None:
        return theme.UNKNOWN
    more = (row["total_s"] - chosen["total_s"]) / 60
    return theme.number(more, 1, mark="+" if more > 0 else "", unit=_("min"))
