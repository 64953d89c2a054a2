"""Figures opened: what a plan was made from, as rows for the page."""

from __future__ import annotations

from typing import Any

from django.utils.dateparse import parse_datetime

from shopfloor.models import NestPlan, PostingKind, User
from shopfloor.selectors.shop import the_shop
from shopfloor.templatetags.office import distance, minutes, money_text, size, speed, when

Row = dict[str, Any]
Section = tuple[str, list[Row]]
# What the words of a snapshot are called on a page; what is not listed is shown by its own name.
NAMES = {
    "speed_mm_min": "cutting speed", "pierce_delay_s": "pierce delay, s", "touch_off_s":
    "touch-off, s a pierce", "accel_mm_s2": "acceleration, mm/s²", "rapid_mm_min": "rapid",
    "corner": "corners", "corner_tolerance_mm": "corner tolerance, mm", "thickness_mm":
    "thickness", "chart_row": "chart row", "chart_rows": "chart rows", "kerf_mm": "kerf, mm",
    "arc_v": "arc voltage, V", "current_a": "current, A", "valid_from": "in force from",
}  # fmt: skip
MONEY = ("minor",)
HIDDEN_WITHOUT_COST = ("rates", "rate", "prices", "price", "costs", "cost", "wear_price")


def plan_rows(plan: NestPlan, user: User, *, cost: bool) -> list[Section]:
    """Time, path and, where it may be seen, money; then the snapshot as it was taken."""
    sections: list[Section] = [("Time", _time(plan)), ("Path", _path(plan, user))]
    if cost and plan.costs_minor:
        sections.append(("Cost without material", _costs(plan)))
    for name, value in plan.snapshot.items():
        if not cost and name.startswith(HIDDEN_WITHOUT_COST):
            continue
        sections.append((_word(name).capitalize(), list(_flat(value, user, cost))))
    return [section for section in sections if section[1]]


def _time(plan: NestPlan) -> list[Row]:
    parts = [
        ("cutting", plan.cut_s), ("piercing", plan.pierce_s), ("travel", plan.travel_s),
        ("touch-off", plan.touch_off_s),
    ]  # fmt: skip
    rows: list[Row] = [{"label": label, "value": minutes(s)} for label, s in parts]
    rows.append({"label": "program", "value": minutes(plan.total_s), "total": True})
    rows.append({"label": "load and unload", "value": minutes(plan.load_s)})
    return rows


def _path(plan: NestPlan, user: User) -> list[Row]:
    return [
        {"label": "cut", "value": distance(plan.cut_mm, user)},
        {"label": "travel", "value": distance(plan.travel_mm, user)},
        {"label": "pierces", "value": "unknown" if plan.pierces is None else plan.pierces},
    ]


def _costs(plan: NestPlan) -> list[Row]:
    digits = the_shop().currency_digits
    words = dict(PostingKind.choices)
    known = {kind: minor for kind, minor in plan.costs_minor.items() if isinstance(minor, int)}
    rows: list[Row] = [
        {"label": words.get(kind, kind), "value": money_text(minor, digits)}
        for kind, minor in known.items()
    ]
    rows += [
        {"label": words.get(kind, kind), "value": "unknown"}
        for kind in plan.costs_minor
        if kind not in known
    ]
    if len(known) == len(plan.costs_minor):
        total = money_text(sum(known.values()), digits)
        rows.append({"label": "together", "value": total, "total": True})
    return rows


def _flat(value: Any, user: User, cost: bool, name: str = "") -> list[Row]:
    """Nested values of a snapshot as lines; amounts of money only where they may be seen."""
    if isinstance(value, dict):
        return [row for key, inner in value.items() for row in _flat(inner, user, cost, str(key))]
    if isinstance(value, list):
        return [row for inner in value for row in _flat(inner, user, cost, name)]
    if name.endswith(MONEY) or name.startswith(HIDDEN_WITHOUT_COST):
        if not cost or not isinstance(value, int):
            return []
        value = money_text(value, the_shop().currency_digits)
        name = name.removesuffix("_minor")
    return [{"label": _word(name), "value": _shown(name, value, user)}]


def _shown(name: str, value: Any, user: User) -> Any:
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name in ("speed_mm_min", "rapid_mm_min") and isinstance(value, int | float):
        return speed(value, user)
    if name == "thickness_mm" and isinstance(value, int | float):
        return size(value, user)
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, str) and len(value) > 15 and (moment := _moment(value)):
        return when(moment)
    return value


def _moment(text: str) -> Any:
    try:
        moment = parse_datetime(text)
    except ValueError:
        return None
    return moment if moment is not None and moment.tzinfo is not None else None


def _word(name: str) -> str:
    return NAMES.get(name, name.replace("_", " ")) or "value"
