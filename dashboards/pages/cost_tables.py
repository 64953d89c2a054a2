"""The ledgers of the cost page."""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import html
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from dashboards import lengths, theme
from dashboards.access import Reader
from dashboards.ledgers import cost as ledgers
from dashboards.pages import parts
from dashboards.pages.cost_address import address
from dashboards.pages.parts import Cell, Column, Component, Line
from planning.calc.dates import MONTH, MONTH_NAME, dated
from planning.calc.numbers import filled
from planning.calc.units import ft_from_mm
from planning.reports.shapes import CostMonth
from shopfloor.chart.duties import duty_word

TERM_OF = N_("the term's time at the machine and labour rate of each run")


def steps_table(bridge: ledgers.Bridge, month: CostMonth, digits: int) -> Component:
    """The figure as a table, each term opening job by job."""
    lines = [Line((_("Planned"), theme.money(bridge.planned_minor, digits)))]
    for step in bridge.steps:
        url = address(month.first_day, term=step.term) + "#term" if step.term else "#kinds"
        amount = Cell(theme.signed(step.minor, digits, whole=False), url, step.off)
        lines.append(Line((step.name, amount)))
    lines.append(Line((_("Actual"), theme.money(bridge.actual_minor, digits)), "total"))
    table = parts.ledger(
        _("From plan to actual"), (Column(_("Step")), Column(_("Amount"), num=True)), lines
    )
    return parts.collapsible(_("As a table"), table)


def jobs_table(month: CostMonth, reader: Reader, digits: int, everything: bool) -> Component:
    """Where the hours went, job by job."""
    found = ledgers.job_ledger(month, everything=everything)
    columns = [Column(_("Job")), Column(_("What"))]
    columns += [Column(_("Quote"), num=True)] if reader.margin else []
    columns += [
        Column(_("Plan"), num=True, pencil=True),
        Column(_("Actual"), num=True),
        Column(_("Off plan"), num=True),
        Column(_("Hours"), num=True),
    ]
    lines = [_job_line(row, reader, digits, month.first_day) for row in found.named]
    if found.rest is not None:
        words = theme.count(found.rest_jobs, "{n} smaller job", "{n} smaller jobs")
        rest = Cell(words, address(month.first_day, all="yes"))
        lines.append(Line((rest, *_figures(found.rest, reader, digits)), "rest", span=2))
    whole = theme.count(int(month.jobs["job_id"].notna().sum()), "{n} job", "{n} jobs")
    said = f"{dated(month.first_day, MONTH_NAME)}, {whole}"
    all_of_it = reverse("figure", args=["month", month.first_day])
    lines.append(Line((said, *_figures(found.total, reader, digits, all_of_it)), "total", span=2))
    table = parts.ledger(_("Where the hours went"), columns, lines)
    key = _("vermilion and bold: more than 5 % over plan")
    if found.total.bare_minor:
        bare = theme.money(found.total.bare_minor, digits, whole=True)
        key = _("off plan leaves out {bare} of runs without a plan; {key}").format(
            bare=bare, key=key
        )
    if found.share is not None and found.rest is not None:
        named = theme.count(len(found.named), "{n} named job", "{n} named jobs")
        whole_h = theme.hours(found.total.elapsed_s)
        key = filled(
            _("the {named} took {share:.0f} % of {whole_h} h; {key}"),
            named=named,
            share=found.share * 100,
            whole_h=whole_h,
            key=key,
        )
    return parts.section(_("Where the hours went"), table, html.P(key, className="key"))


def _job_line(row: ledgers.JobRow, reader: Reader, digits: int, month: date) -> Line:
    job = Cell(row.job, reverse("job_cost", args=[row.job_id]) if row.job_id else "")
    opened = reverse("figure", args=["month_job", f"{month}:{row.job_id or 0}"])
    return Line((job, row.title, *_figures(row, reader, digits, opened)))


def _figures(
    row: ledgers.JobRow, reader: Reader, digits: int, opened: str = ""
) -> tuple[Cell | str, ...]:
    cells: list[Cell | str] = []
    if reader.margin:
        quote = (
            theme.NONE
            if row.quote_minor is None
            else theme.money(row.quote_minor, digits, whole=True)
        )
        cells.append(quote)
    cells += [
        theme.money(row.plan_minor, digits, whole=True),
        Cell(theme.money(row.actual_minor, digits, whole=True), opened),
        Cell(theme.signed(row.off_minor, digits), off=row.off and row.job_id is not None),
        theme.hours(row.elapsed_s),
    ]
    return tuple(cells)


def term_table(month: CostMonth, term: str, digits: int) -> Component:
    """One term of the difference, job by job: each opens to the runs beneath."""
    rows = ledgers.term_jobs(month, term)
    name = _(ledgers.WORDS.get(term, term.capitalize()))
    if not rows:
        return parts.section(
            name,
            parts.state("empty", text=_("No run has {term} in it.").format(term=term)),
            id="term",
        )
    lines = [
        Line(
            (
                Cell(
                    row["job"],
                    reverse("job_cost", args=[int(row["job_id"])]) if row["job_id"] else "",
                ),
                Cell(
                    theme.hours(row["seconds"], 2),
                    reverse(
                        "figure",
                        args=["month_term", f"{month.first_day}:{term}:{row['job_id'] or 0}"],
                    ),
                ),
                theme.signed(row["money_minor"], digits, whole=False),
            )
        )
        for row in rows
    ]
    columns = (
        Column(_("Job")),
        Column(_("Hours more"), num=True),
        Column(_("Cost more"), num=True),
    )
    return parts.section(name, parts.ledger(name, columns, lines), key=_(TERM_OF), id="term")


def metres_table(month: CostMonth, reader: Reader, currency: str, digits: int) -> Component:
    """Cost of a metre or foot, duty beside duty."""
    length = "foot" if reader.inch else "metre"
    short = "ft" if reader.inch else "m"
    sign = theme.SIGNS.get(currency, currency)
    rows = ledgers.metres(month, per_foot=reader.inch)
    title = _("A {length} of cut").format(length=length)
    if not rows:
        words = _("No run of this month has both a measured cut and a cost.")
        return parts.section(title, parts.state("empty", text=words))

    def each(row: ledgers.MetreRow, duty: str, minor: float | None) -> Cell:
        if minor is None:
            return Cell(theme.NONE)
        url = _plate(month, row.material, row.thickness_mm, duty)
        return Cell(theme.number(minor / 10**digits, max(digits, 2)), url)

    def much(metres: float) -> str:
        if not metres:
            return theme.NONE
        return theme.number(ft_from_mm(metres * 1000) if reader.inch else metres)

    lines = [
        Line(
            (
                row.material,
                lengths.thick(row.thickness_mm, inch=reader.inch),
                *(each(row, code, minor) for code, minor in row.minor.items()),
                theme.number(row.ratio, 2, mark="× ") if row.ratio else theme.NONE,
                *(much(metres) for metres in row.cut_m.values()),
            )
        )
        for row in rows
    ]
    names = [duty_word(code).capitalize() for code in rows[0].minor]
    columns = (
        Column(_("Material")),
        Column(_("Thick"), num=True),
        *(Column(f"{name}, {sign}", num=True) for name in names),
        Column(_("Ratio"), num=True, pencil=True),
        *(Column(f"{name}, {short}", num=True) for name in names),
    )
    key = _("all but the material; then how many {short} were cut").format(short=short)
    return parts.section(title, parts.ledger(title, columns, lines), key=key)


def _plate(month: CostMonth, material: str, thickness_mm: float, duty: str) -> str:
    """Where the runs of a plate and duty are opened."""
    key = f"{month.first_day}:{material}:{thickness_mm:g}:{duty}"
    return reverse("figure", args=["month_plate", key])


def hours_table(month: CostMonth, reader: Reader) -> Component:
    """Hours by material, thickness and duty, until 80 % of them are named."""
    rows = ledgers.hours(month)
    title = _("Where four fifths of the hours go")
    if not rows:
        return parts.section(title, parts.state("empty", text=_("No run is worked out yet.")))
    lines = [
        Line(
            (
                row["material"],
                lengths.thick(row["thickness_mm"], inch=reader.inch),
                duty_word(row["duty"]),
                Cell(
                    theme.number(row["hours"], 1, unit="h"),
                    _plate(month, row["material"], row["thickness_mm"], row["duty"]),
                ),
                theme.percent_of((row["running_share"] or 0) * 100),
            ),
            "" if row["in_80"] else "rest",
        )
        for row in rows
    ]
    whole = sum(row["hours"] for row in rows)
    columns = (
        Column(_("Material")),
        Column(_("Thick"), num=True),
        Column(_("Duty")),
        Column(_("Hours"), num=True),
        Column(filled(_("Of {whole:,.0f} h"), whole=whole), num=True),
    )
    return parts.section(title, parts.ledger(title, columns, lines))


def kinds_table(month: CostMonth, digits: int) -> Component:
    """Amounts by kind; each opens to its postings."""
    rows = ledgers.kinds(month)
    if not rows:
        return parts.section(
            _("By kind"), parts.state("empty", text=_("Nothing is posted yet.")), id="kinds"
        )
    lines = [
        Line(
            (
                ledgers.KINDS.get(kind, kind),
                Cell(
                    theme.money(minor, digits),
                    reverse("figure", args=["month_kind", f"{month.first_day}:{kind}"]),
                ),
            )
        )
        for kind, minor in rows
    ]
    whole = Cell(
        theme.money(month.total_minor, digits), reverse("figure", args=["month", month.first_day])
    )
    lines.append(Line((_("All"), whole), "total"))
    columns = (Column(_("Kind")), Column(_("Amount"), num=True))
    return parts.section(_("By kind"), parts.ledger(_("By kind"), columns, lines), id="kinds")


def late_table(month: CostMonth, digits: int) -> Component:
    """Facts that came after their month was closed."""
    lines = [
        Line(
            (
                dated(row["belongs_to"], MONTH),
                row["job"],
                ledgers.KINDS.get(row["kind"], row["kind"]),
                _late_amount(month, row, digits),
                theme.number(row["entries"]),
                row["why"],
                row["by"] or "computed",
            )
        )
        for row in ledgers.late(month)
    ]
    columns = (
        Column(_("About")),
        Column(_("Job")),
        Column(_("Kind")),
        Column(_("Amount"), num=True),
        Column(_("Entries"), num=True),
        Column(_("Why")),
        Column(_("Who")),
    )
    return parts.section(
        _("Postings for closed months"),
        parts.ledger(_("For closed months"), columns, lines),
        id="late",
    )


def _late_amount(month: CostMonth, row: dict[str, Any], digits: int) -> Cell:
    """Opens to the postings of that job and kind, these among them."""
    said = theme.signed(row["amount_minor"], digits, whole=False)
    if row.get("job_id") is None:
        return Cell(said)
    key = f"{month.first_day}:{row['job_id']}:{row['kind']}"
    return Cell(said, reverse("figure", args=["month_job_kind", key]))
