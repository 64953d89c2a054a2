"""Cut fine, not asked for: the ledger of the cost page, and its note."""

from __future__ import annotations

from dash import html
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from dashboards import lengths, theme
from dashboards.access import Reader
from dashboards.pages import parts
from dashboards.pages.parts import Cell, Column, Component, Line
from dashboards.records import records
from planning.calc.numbers import filled, written
from planning.calc.units import M_PER_FT, MM_PER_IN, ft_from_mm
from planning.reports.shapes import CostMonth
from planning.reports.square_figure import by_job
from planning.reports.squareness import Squareness

STEP_IN = 0.005  # of u, for who reads inches: 0.127 mm
TITLE = N_("Cut fine, not asked for")
WORDS = {
    "not asked for": N_("nobody asked for it"),
    "asked for": N_("asked for"),
    "fine was cheaper": N_("fine was cheaper with the clean-up"),
    "not enough checks": N_("fast has not enough checks to tell"),
    "no fast route": N_("no fast set can cut it"),
    "unpriced": N_("a cost is unknown"),
}


def square_tables(
    found: Squareness, month: CostMonth, currency: str, digits: int, reader: Reader
) -> Component:
    """What was paid for squareness nobody asked for, and what squareness costs elsewhere."""
    sign = theme.SIGNS.get(currency, currency)
    return html.Div(
        [_jobs(found, month, sign, digits, reader), _tenths(found, sign, digits, reader)],
        className="cols below",
    )


def _jobs(found: Squareness, month: CostMonth, sign: str, digits: int, reader: Reader) -> Component:
    rows = by_job(found, month.first_day)
    key = html.P(standing_words(found), className="key")
    if not rows:
        words = _("No metre was cut fine that fast would have cut as well for less.")
        return parts.section(_(TITLE), parts.state("empty", text=words), key, id="square")
    lines = [
        Line(
            (
                row.job,
                row.title,
                _asked(row.asked),
                _length(row.cut_m, reader),
                theme.number(row.hours, 1, unit="h"),
                Cell(
                    theme.money(round(row.figure.quantity.number), digits, whole=True),
                    reverse("figure", args=row.figure.ref),
                    True,
                ),
            )
        )
        for row in rows
    ]
    lines.append(
        Line(
            (
                _("Not asked for"),
                "",
                _length(sum(row.cut_m for row in rows), reader),
                theme.number(sum(row.hours for row in rows), 1, unit="h"),
                theme.money(found.total_minor, digits, whole=True),
            ),
            "total",
            span=2,
        )
    )
    columns = (
        Column(_("Job")),
        Column(_("What")),
        Column(_("Asked")),
        Column("ft" if reader.inch else "m", num=True),
        Column(_("Hours more"), num=True),
        Column(_("Cost more, {sign}").format(sign=sign), num=True),
    )
    return parts.section(_(TITLE), parts.ledger(_(TITLE), columns, lines), key, id="square")


def _length(metres: float, reader: Reader) -> str:
    return theme.number(ft_from_mm(metres * 1000) if reader.inch else metres)


def _tenths(found: Squareness, sign: str, digits: int, reader: Reader) -> Component:
    """A tenth of a millimetre of u, by the shop's own checks."""
    title = _("What a squarer edge costs")
    plain = records(found.tenths)
    if not plain:
        words = _("No pair of sets has five checks each and a whole plan in one thickness.")
        return parts.section(title, parts.state("empty", text=words))
    feet = M_PER_FT if reader.inch else 1.0
    step = STEP_IN * MM_PER_IN / 0.1 if reader.inch else 1.0
    lines = [
        Line(
            (
                f"{row['material']} {lengths.thick(row['thickness_mm'], inch=reader.inch)}",
                f"{row['fine_set']}, {row['fast_set']}",
                ", ".join(
                    lengths.depth(row[name], inch=reader.inch)
                    for name in ("fine_u_mm", "fast_u_mm")
                ),
                _each(row["per_m_minor"], digits, feet),
                _each(row["per_tenth_minor"], digits, feet * step),
            )
        )
        for row in plain
    ]
    per = f"{'ft' if reader.inch else 'm'}, {sign}"
    columns = (
        Column(_("Plate")),
        Column(_("Fine, fast")),
        Column(f"u, {lengths.unit(inch=reader.inch)}", num=True),
        Column(_("More per {per}").format(per=per), num=True),
        Column(
            filled(_("Per {step_in:g} in of u"), step_in=STEP_IN)
            if reader.inch
            else _("Per 0.1 mm of u"),
            num=True,
        ),
    )
    return parts.section(
        title,
        parts.ledger(title, columns, lines),
        key="wear and clean-up in it; below 0: fine saves",
    )


def _each(minor: int | None, digits: int, feet: float) -> str:
    if minor is None:
        return theme.NONE
    return theme.number(minor * feet / 10**digits, max(digits, 2))


def _asked(ranges: frozenset[int | None]) -> str:
    """The u ranges of a job's lines, "none" where nothing is asked."""
    named = sorted(one for one in ranges if one is not None)
    return ", ".join(
        [
            *(_("range {one}").format(one=one) for one in named),
            *(["none"] if None in ranges else []),
        ]
    )


def standing(found: Squareness) -> list[tuple[str, float]]:
    """Why metres were cut fine, the most first."""
    rows = [(_(WORDS.get(word, word)), metres) for word, metres in found.standing.items()]
    return sorted(rows, key=lambda row: -row[1])


def standing_words(found: Squareness) -> str:
    """All metres cut fine and why, in one line."""
    whole = sum(found.standing.values())
    said = "; ".join(f"{written(metres, ',.0f')} m {why}" for why, metres in standing(found))
    return (
        filled(_("of {whole:,.0f} m cut fine: {said}"), whole=whole, said=said)
        if whole
        else _("nothing was cut fine")
    )


def square_notes(found: Squareness, month: CostMonth, digits: int) -> list[Component]:
    """The note beside, where there is something to say."""
    if not found.total_minor:
        return []
    rows = by_job(found, month.first_day)
    head = _("Fine cutting nobody asked for: {total_minor}").format(
        total_minor=theme.money(found.total_minor, digits, whole=True)
    )
    hours = sum(row.hours for row in rows)
    jobs = theme.count(len(rows), "{n} job", "{n} jobs")
    body = filled(
        _("{jobs}, {hours:,.1f} h more at the table. Fast would have met what was asked."),
        jobs=jobs,
        hours=hours,
    )
    return [parts.note("now", head, body, [(_("Show them"), "#square")])]
