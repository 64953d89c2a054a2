"""How figures look and how numbers are written. Colours are the shop log's own, once for light and
once for dark; fine and fast, more and less differ by fill and hatch, never by hue."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from planning.calc.numbers import filled, marked, written
from planning.calc.translated import marks
from planning.reports.shapes import Coverage
from shopfloor.wording.counts import count as count
from shopfloor.wording.typed import MONEY, typed

FONT = "Vollkorn, Iowan Old Style, Charter, Georgia, serif"
UNKNOWN = "unknown"
NONE = "–"
SIGNS = {"USD": "$", "EUR": "€", "GBP": "£"}
# What a chart may do: nothing that sends it anywhere, no bar of buttons.
CONFIG: dict[str, Any] = {
    "displayModeBar": False,
    "displaylogo": False,
    "plotlyServerURL": "",
    "modeBarButtonsToRemove": ["sendChartToCloud"],
    "doubleClick": False,
    "scrollZoom": False,
    "responsive": True,
    "staticPlot": False,
}


@dataclass(frozen=True, slots=True)
class Palette:
    """One set of colours. Contrasts on paper are 4.5 or more for text, 3 for lines that matter."""

    name: str
    paper: str
    ink: str
    ink2: str
    pencil: str
    edge: str
    off: str
    ghost: str
    rule: str


LIGHT = Palette(
    "light", "#F2F4F1", "#17212B", "#44505B", "#5F6B75", "#76838B", "#B23A0E", "#BCC7C8", "#C6D0CF"
)
DARK = Palette(
    "dark", "#161C22", "#E6EAE7", "#B4BEC4", "#94A0A9", "#6F7C86", "#FF9C66", "#46525C", "#313C45"
)
COOKIE = "kerfbook-shade"  # dark or light, as the device is set; written by shade.js


def palette_of(theme: str, cookies: Mapping[str, str]) -> Palette:
    """The person's choice, else what the device said, else light."""
    chosen = theme or cookies.get(COOKIE, "")
    return DARK if chosen == "dark" else LIGHT


def template(palette: Palette) -> dict[str, Any]:
    """The shop log's Plotly template, as the browser is sent it. Figures are plain dicts: Plotly's
    own classes check every name and value each time one is drawn, which the tests do once."""
    axis = {
        "gridcolor": palette.rule,
        "gridwidth": 1,
        "zeroline": False,
        "linecolor": palette.ink,
        "ticks": "outside",
        "ticklen": 5,
        "tickcolor": palette.edge,
        "tickfont": {"size": 12.5, "color": palette.pencil},
        "title": {"font": {"size": 13.5, "color": palette.ink2}},
        "fixedrange": True,
    }
    return {
        "layout": {
            "paper_bgcolor": palette.paper,
            "plot_bgcolor": palette.paper,
            "font": {"family": FONT, "size": 13, "color": palette.ink},
            "colorway": [palette.ink, palette.pencil, palette.edge],
            "colorscale": {"sequential": [[0, palette.paper], [1, palette.ink]]},
            "showlegend": False,
            "margin": {"l": 44, "r": 12, "t": 34, "b": 40},
            "xaxis": axis,
            "yaxis": axis,
            "hoverlabel": {
                "bgcolor": palette.paper,
                "bordercolor": palette.ink,
                "font": {"family": FONT, "size": 13, "color": palette.ink},
            },
            "transition": {"duration": 0},
            "separators": "".join(marks()),
        }
    }


def bar_style(palette: Palette, kind: str) -> dict[str, Any]:
    """Marker of a bar: `more` hatched, `less` open, `off` hatched the other way in vermilion,
    `planned` open in pencil."""
    line, hatch, width = palette.ink2, "", 1.25
    if kind == "more":
        hatch = "/"
    elif kind == "off":
        hatch, line, width = "\\", palette.off, 1.5
    elif kind == "planned":
        line = palette.pencil
    return _bar(palette, line, hatch, width)


def duty_style(palette: Palette, hatch: str) -> dict[str, Any]:
    """Marker of a duty's bar: hatched so, or solid."""
    if not hatch:
        return {"color": palette.ink, "line": {"color": palette.ink, "width": 1.25}}
    return _bar(palette, palette.ink, hatch, 1.25)


def _bar(palette: Palette, line: str, hatch: str, width: float) -> dict[str, Any]:
    return {
        "color": palette.paper,
        "line": {"color": line, "width": width},
        "pattern": {
            "shape": hatch,
            "size": 5,
            "solidity": 0.2,
            "fgcolor": line,
            "bgcolor": palette.paper,
        },
    }


def money(minor: int | None, digits: int, *, whole: bool = False) -> str:
    """Minor units as the shop writes them; `whole` leaves the cents out, for columns."""
    if minor is None:
        return UNKNOWN
    sign, figure = ("−" if minor < 0 else ""), abs(int(minor))
    value = int(minor) / 10**digits
    if whole or not digits:
        rounded = (figure * 2 + 10**digits) // (2 * 10**digits)  # half up, exact
        return typed(f"{sign if rounded else ''}{written(rounded, ',')}", value, MONEY)
    units, rest = divmod(figure, 10**digits)
    return typed(sign + marked(f"{units:,}.{rest:0{digits}d}"), value, MONEY)


def signed(minor: int | None, digits: int, *, whole: bool = True) -> str:
    """A difference: +774, −143, 0."""
    said = money(minor, digits, whole=whole)
    plus = minor is not None and minor > 0 and said != "0"
    return typed(f"+{said}", minor / 10**digits, MONEY) if minor and plus else said


def number(value: float, places: int = 0, *, mark: str = "", unit: str = "") -> str:
    """A figure of a column: 1,204, −0.07, × 1.25; `mark` stands before it."""
    return typed(f"{mark}{written(value, f',.{places}f')}".replace("-", "−"), value, unit)


def percent_of(value: float) -> str:
    """A share whose base the heading names: 17 %."""
    return typed(f"{written(value, '.0f')} %", value, "%")


def hours(seconds: float | None, places: int = 1) -> str:
    """Seconds as hours, 289.6."""
    if seconds is None:
        return UNKNOWN
    return typed(written(seconds / 3600, f",.{places}f"), seconds / 3600, "h")


def minutes(value: float | None) -> str:
    return UNKNOWN if value is None else typed(written(value, ",.0f"), value, "min")


def percent(share: float | None, of: str) -> str:
    """A share with its base: 51 % of 5 h 20 min. Never a bare percentage."""
    return (
        _("share of {of} unknown").format(of=of)
        if share is None
        else filled(_("{share:.0f} % of {of}"), share=share * 100, of=of)
    )


def span_short(seconds: float | None) -> str:
    """The same with less ink, for a narrow column: 2 h 42, 18 min."""
    return span(seconds).removesuffix(" min") if seconds and seconds >= 3600 else span(seconds)


def span(seconds: float | None) -> str:
    """2 h 42 min, 18 min, 40 s."""
    if seconds is None:
        return UNKNOWN
    s = round(seconds)
    if s < 60:
        return f"{s} s"
    m = round(s / 60)
    return (
        _("{minutes} min").format(minutes=m)
        if m < 60
        else _("{hours} h {minutes:02d} min").format(hours=m // 60, minutes=m % 60)
    )


def age(seconds: float) -> str:
    """How old: 18 min, 3 h 10 min, 4 days."""
    return (
        span(max(seconds, 0))
        if seconds < 172_800
        else filled(_("{days:.0f} days"), days=seconds // 86_400)
    )


def coverage_words(coverage: Coverage, digits: int, total_minor: int) -> str:
    """How much of the amounts rests on what, with the base. Amounts taken back (a remnant's credit,
    a correction) count as amounts too, so the base is more than the total: both are said."""
    if not coverage.total:
        return _("Nothing is posted yet.")
    back = max(0, (round(coverage.total) - total_minor) // 2)
    charged = money(round(coverage.total) - back, digits, whole=True)
    said = [
        f"{_percent(coverage.share(word) or 0)} {_(word)}"
        for word in ("measured", "entered", "planned", "unknown")
        if coverage.share(word)
    ]
    words = (
        _("Of {charged} charged and {credited} credited: {shares}.")
        if back > 0
        else _("Of {charged} charged: {shares}.")
    )
    return words.format(
        charged=charged, credited=money(back, digits, whole=True), shares=", ".join(said)
    )


def _percent(share: float) -> str:
    return "under 1 %" if share < 0.005 else f"{written(share * 100, '.0f')} %"
