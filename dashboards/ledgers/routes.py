"""Routes as the page reads them: each figure a word."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from dashboards import lengths, theme
from dashboards.access import Reader
from planning.calc.dates import WEEKDAY, dated, timed
from planning.calc.edge import PredictedU
from planning.calc.numbers import filled
from planning.calc.routes import Flip
from planning.calc.said import to_reader
from planning.reports.routes import NestRoutes, RouteRow

STANDS = {
    "not asked": N_("nothing is asked"),
    "meets": N_("meets it"),
    "may not": N_("may not meet it"),
    "fails": N_("fails it"),
    "unknown": N_("not known whether it does"),
}


@dataclass(frozen=True, slots=True)
class RouteSaid:
    """One route in words. `stands` says it against what is asked, `off` where it fails."""

    name: str
    row: RouteRow
    table: str
    expected: str
    change: str
    bench: str
    wear: str
    cost: str
    u: str
    u_range: str
    u_from: str
    stands: str
    off: bool
    finish: str
    pieces: str
    short: bool


def said(found: NestRoutes, zone: tzinfo, now: datetime, *, inch: bool = False) -> list[RouteSaid]:
    digits = found.money["currency_digits"]
    return [_said(row, digits, zone, now, inch) for row in found.rows]


def _said(row: RouteRow, digits: int, zone: tzinfo, now: datetime, inch: bool) -> RouteSaid:
    route = row.route
    wear = None if route.wear_minor is None else round(route.wear_minor)
    return RouteSaid(
        name=route.name,
        row=row,
        table=theme.minutes(route.table_min),
        expected="" if row.expected_min is None else theme.minutes(row.expected_min),
        change=theme.number(row.change_min, mark="+", unit="min") if row.change_min else "–",
        bench=theme.UNKNOWN if route.bench_min is None else theme.minutes(route.bench_min),
        wear=theme.money(wear, digits),
        cost=theme.money(row.cost_minor, digits),
        u=theme.UNKNOWN if route.u.u_mm is None else lengths.depth(route.u.u_mm, inch=inch),
        u_range=_ends(route.u, inch),
        u_from=_from(route.u),
        stands="; ".join(
            word
            for word in (to_reader(row.range_words, inch=inch), _(STANDS[route.verdict]))
            if word
        ),
        off=route.verdict == "fails",
        finish=_clock(row.finish_at, zone, now),
        pieces=_pieces(row),
        short=any(need.short for need in row.needs),
    )


def _ends(u: PredictedU, inch: bool) -> str:
    if u.low_mm is None or u.high_mm is None:
        return theme.UNKNOWN
    return f"{lengths.depth(u.low_mm, inch=inch)}–{lengths.depth(u.high_mm, inch=inch)}"


def _from(u: PredictedU) -> str:
    if u.basis == "checks":
        return theme.count(u.checks, "{n} check", "{n} checks")
    few = _("not enough checks ({checks}, needed {needed})").format(
        checks=u.checks, needed=u.needed
    )
    return _("the chart's; {few}").format(few=few) if u.basis == "chart" else few


def _clock(at: datetime | None, zone: tzinfo, now: datetime) -> str:
    if at is None:
        return theme.UNKNOWN
    here = at.astimezone(zone)
    day = "" if here.date() == now.astimezone(zone).date() else f"{dated(here, WEEKDAY)} "
    return f"{day}{timed(here)}"


def _pieces(row: RouteRow) -> str:
    """New pieces it takes of what the drawer has; blank where those in the torch last."""
    found = []
    for need in row.needs:
        if need.needed is None:
            found.append(_("{kind}: life unknown").format(kind=need.kind))
        elif need.needed:
            found.append(
                _("{needed} {kind} of {in_drawer}").format(
                    needed=need.needed, kind=need.kind, in_drawer=need.in_drawer
                )
            )
    return ", ".join(found) or (_("none new") if row.needs else _("no parts listed"))


def flip_words(
    row: RouteRow, best: RouteRow, reader: Reader, digits: int, *, wage: bool
) -> list[str]:
    """Each price alone that would make this route as cheap as the cheapest. What an hour costs now
    is said only to those who see rates."""
    return [_flip(flip, row, best, digits, wage) for flip in row.flips] if reader.cost else []


def _flip(flip: Flip, row: RouteRow, best: RouteRow, digits: int, wage: bool) -> str:
    name, than = row.route.name, best.route.name
    if flip.price == "wear parts":
        turn = "dearer" if flip.side == "above" else "cheaper"
        return filled(
            _(
                "{name} costs less than {than} once wear parts are {at:.2f} × "
                "their price now or {turn}"
            ),
            name=name,
            than=than,
            at=flip.at,
            turn=turn,
        )
    what = _("an hour at the bench") if flip.price == "bench labour" else _("an hour of the table")
    at = theme.money(round(flip.at), digits)
    now = _(" (now {now})").format(now=theme.money(round(flip.now), digits)) if wage else ""
    return _("{name} costs less than {than} once {what} costs {side} {at}{now}").format(
        name=name, than=than, what=what, side=flip.side, at=at, now=now
    )


def lede(found: NestRoutes, reader: Reader) -> str:
    """What is wrong, then what is well, in one sentence."""
    best = next((row for row in found.rows if row.least), None)
    chosen = next((row for row in found.rows if row.chosen), None)
    digits = found.money["currency_digits"]
    start = ""
    if chosen is not None and chosen.route.verdict == "fails":
        start = _("{route} is chosen and fails what is asked. ").format(route=chosen.route.name)
    elif chosen is not None and chosen.beaten:
        start = _("{route} is chosen and {beaten} beats it in everything. ").format(
            route=chosen.route.name, beaten=chosen.beaten
        )
    if best is None:
        return start + _("Which route is the cheapest is not known: a figure of each is missing.")
    if chosen is best:
        return _("{start}{route} is chosen and the cheapest that may do.").format(
            start=start, route=best.route.name
        )
    cost = ""
    if reader.cost and chosen and chosen.cost_minor is not None and best.cost_minor is not None:
        less = chosen.cost_minor - best.cost_minor
        cost = (
            _(", {less} less than {route}").format(
                less=theme.money(less, digits), route=chosen.route.name
            )
            if less > 0
            else ""
        )
    return _("{start}{route} is the cheapest that may do{cost}.").format(
        start=start, route=best.route.name, cost=cost
    )
