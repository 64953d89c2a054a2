"""Routes as the page reads them: each figure a word."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from dashboards import lengths, theme
from dashboards.access import Reader
from planning.calc.edge import PredictedU
from planning.calc.routes import Flip
from planning.calc.said import to_reader
from planning.reports.routes import NestRoutes, RouteRow

STANDS = {
    "not asked": "nothing is asked",
    "meets": "meets it",
    "may not": "may not meet it",
    "fails": "fails it",
    "unknown": "not known whether it does",
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
        change=f"+{row.change_min:.0f}" if row.change_min else "–",
        bench=theme.UNKNOWN if route.bench_min is None else theme.minutes(route.bench_min),
        wear=theme.money(wear, digits),
        cost=theme.money(row.cost_minor, digits),
        u=theme.UNKNOWN if route.u.u_mm is None else lengths.depth(route.u.u_mm, inch=inch),
        u_range=_ends(route.u, inch),
        u_from=_from(route.u),
        stands="; ".join(
            word for word in (to_reader(row.range_words, inch=inch), STANDS[route.verdict]) if word
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
        return theme.count(u.checks, "check")
    few = f"not enough checks ({u.checks}, needed {u.needed})"
    return f"the chart's; {few}" if u.basis == "chart" else few


def _clock(at: datetime | None, zone: tzinfo, now: datetime) -> str:
    if at is None:
        return theme.UNKNOWN
    here = at.astimezone(zone)
    day = "" if here.date() == now.astimezone(zone).date() else f"{here:%a} {here.day} {here:%b} "
    return f"{day}{here:%H:%M}"


def _pieces(row: RouteRow) -> str:
    """New pieces it takes of what the drawer has; blank where those in the torch last."""
    found = []
    for need in row.needs:
        if need.needed is None:
            found.append(f"{need.kind}: life unknown")
        elif need.needed:
            found.append(f"{need.needed} {need.kind} of {need.in_drawer}")
    return ", ".join(found) or ("none new" if row.needs else "no parts listed")


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
        return (
            f"{name} costs less than {than} once wear parts are {flip.at:.2f} × their price now"
            f" or {turn}"
        )
    what = "an hour at the bench" if flip.price == "bench labour" else "an hour of the table"
    at = theme.money(round(flip.at), digits)
    now = f" (now {theme.money(round(flip.now), digits)})" if wage else ""
    return f"{name} costs less than {than} once {what} costs {flip.side} {at}{now}"


def lede(found: NestRoutes, reader: Reader) -> str:
    """What is wrong, then what is well, in one sentence."""
    best = next((row for row in found.rows if row.least), None)
    chosen = next((row for row in found.rows if row.chosen), None)
    digits = found.money["currency_digits"]
    start = ""
    if chosen is not None and chosen.route.verdict == "fails":
        start = f"{chosen.route.name} is chosen and fails what is asked. "
    elif chosen is not None and chosen.beaten:
        start = f"{chosen.route.name} is chosen and {chosen.beaten} beats it in everything. "
    if best is None:
        return start + "Which route is the cheapest is not known: a figure of each is missing."
    if chosen is best:
        return f"{start}{best.route.name} is chosen and the cheapest that may do."
    cost = ""
    if reader.cost and chosen and chosen.cost_minor is not None and best.cost_minor is not None:
        less = chosen.cost_minor - best.cost_minor
        cost = f", {theme.money(less, digits)} less than {chosen.route.name}" if less > 0 else ""
    return f"{start}{best.route.name} is the cheapest that may do{cost}."
