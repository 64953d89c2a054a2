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
    "not_asked": N_("nothing is asked"),
    "meets": N_("meets it"),
    "may_not": N_("may not meet it"),
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
    beaten: str


def said(found: NestRoutes, zone: tzinfo, now: datetime, *, inch: bool = False) -> list[RouteSaid]:
    digits, names = found.money["currency_digits"], route_names(found)
    return [_said(row, names, digits, zone, now, inch) for row in found.rows]


def route_names(found: NestRoutes) -> dict[str, str]:
    """By the key of the route."""
    return {row.route.key: _name(row) for row in found.rows}


def _name(row: RouteRow) -> str:
    """fast 130 A; fast 130 A at 80%; fast 130 A, holes by hand."""
    if row.speed_share != 1.0:
        return filled(_("{wear_set} at {share:.0%}"), wear_set=row.wear_set, share=row.speed_share)
    if row.holes == "by_hand":
        return _("{wear_set}, holes by hand").format(wear_set=row.wear_set)
    return row.wear_set


def _said(
    row: RouteRow, names: dict[str, str], digits: int, zone: tzinfo, now: datetime, inch: bool
) -> RouteSaid:
    route = row.route
    wear = None if route.wear_minor is None else round(route.wear_minor)
    return RouteSaid(
        name=names[route.key],
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
        beaten=names.get(row.beaten, ""),
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


def flip_words(found: NestRoutes, reader: Reader, *, wage: bool) -> list[str]:
    """Each price alone that would make a route as cheap as the cheapest. What an hour costs now is
    said only to those who see rates."""
    best = next((row for row in found.rows if row.least), None)
    if best is None or not reader.cost:
        return []
    names, digits = route_names(found), found.money["currency_digits"]
    than = names[best.route.key]
    return [
        _wear_flip(flip, names[row.route.key], than)
        if flip.price == "wear"
        else _hour_flip(flip, names[row.route.key], than, digits, wage)
        for row in found.rows
        for flip in row.flips
    ]


WEAR_FLIPS = {
    "above": N_(
        "{name} costs less than {than} once wear parts are {at:.2f} × their price now or dearer"
    ),
    "below": N_(
        "{name} costs less than {than} once wear parts are {at:.2f} × their price now or cheaper"
    ),
}
HOUR_FLIPS = {
    ("bench", "above"): N_(
        "{name} costs less than {than} once an hour at the bench costs above {at}"
    ),
    ("bench", "below"): N_(
        "{name} costs less than {than} once an hour at the bench costs below {at}"
    ),
    ("table", "above"): N_(
        "{name} costs less than {than} once an hour of the table costs above {at}"
    ),
    ("table", "below"): N_(
        "{name} costs less than {than} once an hour of the table costs below {at}"
    ),
}


def _wear_flip(flip: Flip, name: str, than: str) -> str:
    return filled(_(WEAR_FLIPS[flip.side]), name=name, than=than, at=flip.at)


def _hour_flip(flip: Flip, name: str, than: str, digits: int, wage: bool) -> str:
    at = theme.money(round(flip.at), digits)
    words = _(HOUR_FLIPS[flip.price, flip.side]).format(name=name, than=than, at=at)
    now = theme.money(round(flip.now), digits)
    return _("{flip} (now {now})").format(flip=words, now=now) if wage else words


def lede(found: NestRoutes, reader: Reader) -> str:
    """What is wrong, then what is well, each in a sentence."""
    return " ".join(filter(None, (_wrong(found), _least(found, reader))))


def _wrong(found: NestRoutes) -> str:
    chosen, names = _chosen(found), route_names(found)
    if chosen is None:
        return ""
    route = names[chosen.route.key]
    if chosen.route.verdict == "fails":
        return _("{route} is chosen and fails what is asked.").format(route=route)
    if chosen.beaten:
        return _("{route} is chosen and {beaten} beats it in everything.").format(
            route=route, beaten=names[chosen.beaten]
        )
    return ""


def _least(found: NestRoutes, reader: Reader) -> str:
    best = next((row for row in found.rows if row.least), None)
    chosen, names = _chosen(found), route_names(found)
    if best is None:
        return _("Which route is the cheapest is not known: a figure of each is missing.")
    route = names[best.route.key]
    if chosen is best:
        return _("{route} is chosen and the cheapest that may do.").format(route=route)
    if reader.cost and chosen and chosen.cost_minor is not None and best.cost_minor is not None:
        less = chosen.cost_minor - best.cost_minor
        if less > 0:
            return _("{route} is the cheapest that may do, {less} less than {chosen}.").format(
                route=route,
                less=theme.money(less, found.money["currency_digits"]),
                chosen=names[chosen.route.key],
            )
    return _("{route} is the cheapest that may do.").format(route=route)


def _chosen(found: NestRoutes) -> RouteRow | None:
    return next((row for row in found.rows if row.chosen), None)
