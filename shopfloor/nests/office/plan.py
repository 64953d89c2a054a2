"""Figures opened: what a plan was made from, as rows for the page."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from planning.calc.numbers import written
from shopfloor.books.queries import WAGES
from shopfloor.chart.cut_settings import BY_NAME
from shopfloor.models import NestPlan, PostingKind, User
from shopfloor.site.queries import the_shop
from shopfloor.web.access import COST, WAGE, may
from shopfloor.wording.clock import minutes, when
from shopfloor.wording.counts import count
from shopfloor.wording.lengths import accel, depth, distance, size, speed
from shopfloor.wording.money import money_text
from shopfloor.wording.states import words

Row = dict[str, Any]
Section = tuple[str, list[Row]]
MARKING = ("machine", "labour", "gas", "energy")  # what it costs: it wears and cleans nothing
NAMES = {
    "accel_mm_s2": "acceleration", "rapid_mm_min": "rapid", "corner": "corners",
    "accel_x_mm_s2": N_("acceleration of X"), "accel_y_mm_s2": N_("acceleration of Y"),
    "speed_x_mm_min": N_("top speed of X"), "speed_y_mm_min": N_("top speed of Y"),
    "lift_s": N_("lift, s"), "settle_s": N_("settling, s"), "jerk_mm_s3": N_("jerk"),
    "mark_speed_mm_min": N_("speed of marking"), "blocks_per_s": N_("blocks a second"),
    "tolerance_mm": N_("corner tolerance"), "thickness_mm": N_("thickness"),
}  # fmt: skip


def plan_rows(plan: NestPlan, user: User) -> list[Section]:
    """Time, path, chart, motion and, where they may be seen, costs, rates and prices. What a
    person may not see is left out of the rows, not only out of sight."""
    made_from = plan.snapshot
    sections = [(_("Time"), _time(plan)), (_("Path"), _path(plan, user))]
    if may(user, COST):
        sections.append((_("Cost without material"), _costs(plan)))
    sections.append((_("Cut chart"), _chart(made_from, user)))
    sections.append((_("Table’s motion"), _plain(made_from.get("motion", {}), user)))
    if may(user, COST):
        sections.append((_("Rates"), _rates(made_from.get("rates", {}), wages=may(user, WAGE))))
        sections.append((_("Wear parts"), _wear(made_from.get("wear", []))))
    sections.append((_("Doubts"), _doubts(made_from)))
    return [section for section in sections if section[1]]


def _time(plan: NestPlan) -> list[Row]:
    parts = [
        ("cutting", plan.cut_s), ("piercing", plan.pierce_s), ("travel", plan.travel_s),
        ("touch-off", plan.touch_off_s),
    ]  # fmt: skip
    rows: list[Row] = [{"label": label, "value": minutes(s)} for label, s in parts]
    rows.append({"label": "program", "value": minutes(plan.total_s), "total": True})
    if marking := plan.snapshot.get("marking"):
        told = count(marking["contours"], "{n} contour", "{n} contours")
        note = _("{contours}, with its travel and touch-off").format(contours=told)
        value = minutes(marking["all_s"])
        rows.append({"label": _("of which marking"), "value": value, "note": note})
    rows.append({"label": _("load and unload"), "value": minutes(plan.load_s)})
    return rows


def _path(plan: NestPlan, user: User) -> list[Row]:
    return [
        {"label": "cut", "value": distance(plan.cut_mm, user)},
        {"label": "travel", "value": distance(plan.travel_mm, user)},
        {"label": "pierces", "value": "unknown" if plan.pierces is None else plan.pierces},
    ]


def _costs(plan: NestPlan) -> list[Row]:
    money = _money()
    named = dict(PostingKind.choices)
    known = {kind: minor for kind, minor in plan.costs_minor.items() if isinstance(minor, int)}
    rows: list[Row] = [
        {
            "label": named.get(kind, kind),
            "value": money(known[kind]) if kind in known else _("unknown"),
        }
        for kind in plan.costs_minor
    ]
    if known and len(known) == len(plan.costs_minor):
        rows.append({"label": _("together"), "value": money(sum(known.values())), "total": True})
    return [*rows, *_marking_cost(plan)]


def _marking_cost(plan: NestPlan) -> list[Row]:
    """Marking's part of each of these kinds; what nothing is known of is left out, and told."""
    marking = plan.snapshot.get("marking")
    if not marking:
        return []
    money, named, own = _money(), dict(PostingKind.choices), marking["costs_minor"]
    terms = ", ".join(f"{named.get(kind, kind)} {money(minor)}" for kind, minor in own.items())
    lacking = [str(named.get(kind, kind)) for kind in MARKING if kind not in own]
    note = terms if not lacking else _("{terms}; unknown: {kinds}").format(
        terms=terms, kinds=", ".join(lacking)
    )  # fmt: skip
    value = _("unknown") if marking["minor"] is None else money(marking["minor"])
    return [{"label": _("of which marking"), "value": value, "note": note}]


def _chart(made_from: dict[str, Any], user: User) -> list[Row]:
    rows = _plain(made_from.get("chart", {}), user)
    read = made_from.get("chart_rows", [])
    for row in read:
        words = (
            _("{speed}, in force from {day}; example values, not for cutting")
            if row.get("example")
            else _("{speed}, in force from {day}")
        )
        note = words.format(
            speed=speed(row.get("speed_mm_min"), user), day=_date(row.get("valid_from"))
        )
        label = _("read from its row") if len(read) == 1 else _("read between rows")
        rows.append({"label": label, "value": row.get("thickness", "unknown"), "note": note})
    return rows


def _rates(rates: dict[str, Any], *, wages: bool) -> list[Row]:
    money = _money()
    return [
        {
            "label": words(kind),
            "value": "unknown" if rate is None else money(rate["minor"]),
            "note": ""
            if rate is None
            else _("from {day}").format(day=rate.get("from", _("unknown"))),
        }
        for kind, rate in rates.items()
        if wages or kind not in WAGES
    ]


def _wear(parts: list[dict[str, Any]]) -> list[Row]:
    money = _money()
    return [
        {
            "label": part.get("part", "part"),
            "value": money(part["price_minor"]),
            "note": _life(part),
        }
        for part in parts
        if isinstance(part.get("price_minor"), int)
    ]


def _life(part: dict[str, Any]) -> str:
    """Its rated life, and what the shop's own pieces give, by which the plan counts."""
    rated = _rated(part)
    if "gives" not in part:
        return _("rated {life}").format(life=rated)
    return ngettext(
        "rated {life}; counted by the shop's own, {starts} starts each ({n} used up)",
        "rated {life}; counted by the shop's own, {starts} starts each ({n} used up)",
        part["out"],
    ).format(life=rated, starts=part["gives"], n=part["out"])


def _rated(part: dict[str, Any]) -> str:
    starts = part.get("rated_starts")
    return count(int(starts), "{n} start", "{n} starts") if starts else _("life unknown")


def _doubts(made_from: dict[str, Any]) -> list[Row]:
    told = [(_("look at"), text) for text in made_from.get("warnings", [])]
    told += [("unknown", text) for text in made_from.get("unknown", [])]
    return [{"label": label, "value": words(str(text))} for label, text in told]


def _plain(values: dict[str, Any], user: User) -> list[Row]:
    """Figures without money, by the names people give them."""
    return [
        {"label": _label(name), "value": _shown(name, value, user)}
        for name, value in values.items()
        if not isinstance(value, dict | list) and "minor" not in name
    ]


def _label(name: str) -> str:
    if setting := BY_NAME.get(name):
        return str(setting.label)
    return _(NAMES.get(name, name.replace("_", " ")))


def _shown(name: str, value: Any, user: User) -> Any:
    if setting := BY_NAME.get(name):
        return setting.text(value, user)
    if value is None:
        return _("as the program says") if name in ("corner", "tolerance_mm") else _("unknown")
    if name in ("rapid_mm_min", "mark_speed_mm_min", "speed_x_mm_min", "speed_y_mm_min"):
        return speed(value, user)
    if name in ("accel_mm_s2", "accel_x_mm_s2", "accel_y_mm_s2"):
        return accel(value, user)
    if name == "jerk_mm_s3":  # its unit is longer than mm/s2 by a second
        return f"{accel(value, user)}/s"
    if name == "thickness_mm":
        return size(value, user)
    if name == "tolerance_mm":
        return depth(value, user)
    return written(value, ".4g") if isinstance(value, float) else value


def _date(text: Any) -> Any:
    moment = parse_datetime(text) if isinstance(text, str) else None
    return when(moment)


def _money() -> Callable[[int], str]:
    digits = the_shop().currency_digits
    return lambda minor: money_text(minor, digits)
