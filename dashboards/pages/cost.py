"""The owner's month: from plan to actual, where the hours went, what a metre costs."""

from __future__ import annotations

from datetime import date
from urllib.parse import parse_qs

from dash import Dash, html
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from dashboards import data, theme
from dashboards.figures.steps import height_px, steps_figure
from dashboards.ledgers import cost as ledgers
from dashboards.pages import cost_square, cost_tables, parts
from dashboards.pages.cost_address import address
from dashboards.pages.parts import Component, PageReader
from dashboards.records import records
from planning.calc.dates import MONTH, MONTH_NAME, SHORT_MONTH, dated
from planning.calc.numbers import filled
from planning.reports.shapes import CostMonth
from planning.reports.squareness import Squareness

MONEY_WORDS = {"USD": N_("dollars"), "EUR": N_("euros"), "GBP": N_("pounds")}


def register(app: Dash) -> None:
    app.layout = parts.frame_of(_("Reading the month"))
    parts.wire(app, page)


def page(search: str | None) -> Component:
    """The month in the address, else the newest one."""
    asked = parse_qs((search or "").lstrip("?"))
    months = [row["first_day"] for row in records(data.months())]
    if not months:
        return nothing_yet()
    chosen = _month(asked.get("month", [""])[0]) or months[0]
    if chosen not in months:
        return nothing_in(chosen, months)
    everything, term = "all" in asked, asked.get("term", [""])[0]
    found = data.cost_month(chosen), months, parts.current_reader(), everything, term
    return drawn(*found, square=data.squareness(chosen))


def nothing_yet() -> Component:
    words = _(
        "No month has a posting yet. The first run that is finished and worked out begins one."
    )
    return html.Div([parts.dateline(_("Cost"), "", words), parts.state("empty", text=words)])


def nothing_in(chosen: date, months: list[date]) -> Component:
    words = _("Nothing was posted in {chosen}.").format(chosen=dated(chosen, MONTH))
    return html.Div(
        [parts.dateline(dated(chosen, MONTH), "", words, months_picker(months, chosen))]
    )


def drawn(
    month: CostMonth,
    months: list[date],
    who: PageReader,
    everything: bool,
    term: str,
    square: Squareness | None = None,
) -> Component:
    """The whole page of one month."""
    currency, digits = data.currency()
    bridge = ledgers.bridge(month)
    label = _("From planned {planned_minor} to actual {actual_minor} {currency}, by cause").format(
        planned_minor=theme.money(bridge.planned_minor, digits, whole=True),
        actual_minor=theme.money(bridge.actual_minor, digits, whole=True),
        currency=currency,
    )
    figure = steps_figure(bridge, who.palette, currency=currency, digits=digits)
    steps = parts.section(
        _("From plan to actual"),
        html.P(
            _("hatched cost more, open cost less; vermilion and bold from 1 % of the plan"),
            className="key",
        ),
        parts.chart(figure, label, height_px(bridge), "steps"),
        cost_tables.steps_table(bridge, month, digits),
    )
    hours = cost_tables.jobs_table(month, who.reader, digits, everything)
    content = [html.Div([steps, hours], className="cols lean-right")]
    if term:
        content.append(cost_tables.term_table(month, term, digits))
    content.append(
        html.Div(
            [
                cost_tables.metres_table(month, who.reader, currency, digits),
                cost_tables.hours_table(month, who.reader),
            ],
            className="cols below",
        )
    )
    if square is not None:
        content.append(cost_square.square_tables(square, month, currency, digits, who.reader))
    content.append(cost_tables.kinds_table(month, digits))
    if len(month.late):
        content.append(cost_tables.late_table(month, digits))
    return html.Div(
        [
            _head(month, months, bridge, currency, digits),
            parts.page_with_margin(content, _margin(month, bridge, who, digits, square)),
        ],
        className="cost-page",
    )


def _head(
    month: CostMonth, months: list[date], bridge: ledgers.Bridge, currency: str, digits: int
) -> Component:
    count = int(month.jobs["job_id"].notna().sum())
    money = _(MONEY_WORDS.get(currency, currency))
    title = (
        dated(month.first_day, MONTH_NAME)
        if month.first_day.year == months[0].year
        else (dated(month.first_day, MONTH))
    )
    return parts.dateline(
        title,
        (_("{jobs}, {money}, closed") if month.closed_at else _("{jobs}, {money}, open")).format(
            jobs=theme.count(count, "{n} job", "{n} jobs"), money=money
        ),
        lede(bridge, digits),
        months_picker(months, month.first_day),
    )


def lede(bridge: ledgers.Bridge, digits: int) -> Component:
    """What is wrong, then by what, with its base."""
    if not bridge.planned_minor:
        actual = theme.money(bridge.actual_minor, digits, whole=True)
        return _("The month cost {actual}; none of its work had a plan to hold it against.").format(
            actual=actual
        )
    over = bridge.over_minor
    share = abs(over) / bridge.planned_minor * 100
    plan = theme.money(bridge.planned_minor, digits, whole=True)
    words = (
        _("The month cost <b>{over} more than planned</b>, {share:.1f} % of {plan}.")
        if over > 0
        else _("The month cost <b>{over} less than planned</b>, {share:.1f} % of {plan}.")
    )
    amount = theme.money(abs(over), digits, whole=True)
    said = parts.with_bold(words, over=amount, share=share, plan=plan)
    off = [step for step in bridge.steps if step.off][:3]
    if off:
        names = ", ".join(step.name.lower() for step in off).capitalize()
        total = theme.money(sum(step.minor for step in off), digits, whole=True)
        said += [" ", _("{causes}: {total}.").format(causes=names, total=total)]
    return said


def months_picker(months: list[date], chosen: date) -> Component:
    """The month before and after, the chosen one, and the print."""
    near = sorted(months)
    place = near.index(chosen) if chosen in near else len(near)
    shown = near[max(place - 2, 0) : place + 2]
    links: list[Component] = [
        html.A(
            dated(day, MONTH_NAME) if day.year == near[-1].year else dated(day, SHORT_MONTH),
            href=address(day),
            **parts.current(day == chosen),
        )
        for day in shown
    ]
    links.append(html.Button(_("Print"), type="button", **parts.data_print()))
    return html.Nav(links, className="picker", **parts.aria(_("Months")))


def _margin(
    month: CostMonth,
    bridge: ledgers.Bridge,
    who: PageReader,
    digits: int,
    square: Squareness | None,
) -> list[Component]:
    notes = [*_stale(), *_step_notes(month, bridge, digits)]
    if square is not None:
        notes += cost_square.square_notes(square, month, digits)
    notes += _job_notes(month, who, digits)
    notes += [parts.note("soon", _("Not in these figures"), said) for said in month.unknown]
    for term in bridge.unpriced:
        words = _(ledgers.WORDS.get(term, term))
        body = _("A run had no machine or labour rate: its hours are counted, not their price.")
        notes.append(parts.note("soon", _("{words}: not all priced").format(words=words), body))
    if len(month.late):
        total = theme.signed(int(month.late["amount_minor"].sum()), digits)
        notes.append(
            parts.note(
                "soon",
                _("For closed months: {total}").format(total=total),
                _("{postings} about closed months are in this one.").format(
                    postings=theme.count(len(month.late), "{n} posting", "{n} postings")
                ),
                [(_("Show them"), "#late")],
            )
        )
    notes.append(_closing(month, who))
    notes.append(
        html.P(
            theme.coverage_words(month.coverage, digits, month.total_minor), className="remark key"
        )
    )
    return notes


def _stale() -> list[Component]:
    """What the figures do not hold yet, and what they cannot hold until somebody looks."""
    waiting, failed = data.backlog()
    found = []
    if waiting:
        words = _("They are worked out in the background; load the page again in a minute.")
        head = _("{figures} not in yet").format(
            figures=theme.count(waiting, "{n} figure", "{n} figures")
        )
        found.append(parts.note("soon", head, words))
    if failed:
        head = _("{figures} could not be worked out").format(
            figures=theme.count(failed, "{n} figure", "{n} figures")
        )
        words = _("These amounts are without them. What was posted before stays.")
        found.append(parts.note("now", head, words))
    return found


def _step_notes(month: CostMonth, bridge: ledgers.Bridge, digits: int) -> list[Component]:
    worst = sorted((step for step in bridge.steps if step.off), key=lambda step: -step.minor)[:2]
    found = []
    for step in worst:
        acts = (
            [(_("Show it job by job"), address(month.first_day, term=step.term) + "#term")]
            if step.term
            else [(_("Show the kinds"), "#kinds")]
        )
        share = step.minor / bridge.planned_minor * 100
        head = _("{step} cost {minor}").format(
            step=step.name, minor=theme.money(step.minor, digits, whole=True)
        )
        found.append(
            parts.note(
                "now", head, filled(_("{share:.1f} % of what was planned."), share=share), acts
            )
        )
    return found


def _job_notes(month: CostMonth, who: PageReader, digits: int) -> list[Component]:
    if not who.reader.margin:
        return []
    rows = [row for row in ledgers.job_ledger(month, everything=True).named if row.job_id]
    thin = sorted(
        (row for row in rows if row.margin_minor is not None and row.margin_minor < 0),
        key=lambda row: row.margin_minor or 0,
    )[:2]
    return [
        parts.note(
            "soon",
            _("{job} lost {margin_minor}").format(
                job=row.job, margin_minor=theme.money(-(row.margin_minor or 0), digits, whole=True)
            ),
            _("Quoted {quote_minor}, cost {actual_minor} so far.").format(
                quote_minor=theme.money(row.quote_minor, digits, whole=True),
                actual_minor=theme.money(row.actual_minor, digits, whole=True),
            ),
            [(_("Open down to runs"), reverse("job_cost", args=[row.job_id]))],
        )
        for row in thin
    ]


def _closing(month: CostMonth, who: PageReader) -> Component:
    if month.closed_at is not None:
        at = month.closed_at.astimezone(data.zone())
        return parts.note(
            "soon",
            _("Closed {day} by {person}").format(
                day=dated(at), person=month.closed_by or _("unknown")
            ),
            _("These figures stay as they were printed. Later facts go into the open month."),
        )
    acts = []
    if who.reader.close:
        acts = [(_("Close the month"), reverse("month_close", args=[f"{month.first_day:%Y-%m}"]))]
    return parts.note(
        "soon", _("The month is open"), _("Its figures move until it is closed."), acts
    )


def _month(text: str) -> date | None:
    try:
        return date.fromisoformat(f"{text}-01") if text else None
    except ValueError:
        return None
