"""Every page there is, by walking the program's own addresses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote

from django.urls import URLPattern, URLResolver, get_resolver, reverse

from planning.bench import examples

# Addresses that show nothing: forms sent to them, and files of Dash's own.
ACTS = frozenset(
    {
        "logout", "intake", "job_act", "job_import_confirm", "job_import_headings", "late_decide",
        "incoming_stop", "nest_act", "queue_act", "drawing_act", "chart_import_confirm",
        "thickness_answer", "chart_end", "trial_strike", "sheet_back", "sheet_leave",
        "remnants_write_off", "alarm_seen", "source_try", "source_try_at", "source_token",
        "source_act", "shift_end", "security_seen", "backup_make", "reasons_usual",
        "reason_retire", "terminal_retire", "work_act", "line_leave", "note_seen",
        "assign_arcs", "unassign_arcs", "factors_propose", "known_part_act",
        "factor_answer", "quote_words", "table_pauses",
        "calendar_change", "calendar_holidays", "calendar_up",
        "calendar_open", "calendar_drop", "calendar_back", "part_order_end", "piece_act",
        "cost_dash", "balance_dash",
        "floor:actions", "floor:code", "floor:photo", "floor:sign_in", "floor:hand_over",
        "floor:countersign", "floor:sign_out", "floor:stop",
    }
)  # fmt: skip
ASKED_ONLY = frozenset({"arcs"})  # says nothing without its query
DASH = {"cost": "/cost/", "balance": "/balance/"}  # pages drawn by callbacks


@dataclass(frozen=True, slots=True)
class Address:
    """`label` is the same in every shop, the path is not. A callback is posted its `search`.
    `days` of data that it reports on, where that is no more than the shop has."""

    label: str
    path: str
    search: str | None = None
    days: int | None = None


def addresses() -> list[Address]:
    """All of them, with rows of the shop at hand."""
    found: list[Address] = []
    asked = examples.queries()
    for name in names():
        if name in ACTS:
            continue
        for said, args in examples.EXAMPLES.get(name, lambda: [("", [])])():
            label = f"{name} {said}".strip()
            path = reverse(name, args=[_plain(arg) for arg in args])
            if name not in ASKED_ONLY:
                found.append(Address(label, path))
            found += [
                Address(f"{label}, {what}", f"{path}?{quote(query, safe='=&')}")
                for what, query in asked.get(name, ())
            ]
    for name, prefix in DASH.items():
        found += [Address(f"{name} layout", f"{prefix}_dash-layout"),
                  Address(f"{name} dependencies", f"{prefix}_dash-dependencies")]  # fmt: skip
        for what, query in (("", ""), *asked.get(name, ())):
            label = f"{name} drawn, {what}" if what else f"{name} drawn"
            search = f"?{query}" if query else ""
            found.append(Address(label, f"{prefix}_dash-update-component", search))
    reported = examples.reported_days()
    return [replace(one, days=reported(one.label)) for one in found]


def unseen() -> list[str]:
    """Addresses with arguments that no example is known for: pages nobody measures."""
    return [
        name for name, taken in _named() if taken and not {name} & (ACTS | set(examples.EXAMPLES))
    ]


def names() -> list[str]:
    return [name for name, _ in _named()]


def _named() -> list[tuple[str, bool]]:
    """Each name once, and whether its address takes arguments."""
    return sorted(set(_walk(get_resolver().url_patterns, "", False)))


def _walk(patterns: Any, space: str, taken: bool) -> Iterator[tuple[str, bool]]:
    for pattern in patterns:
        takes = taken or bool(pattern.pattern.regex.groups)
        if isinstance(pattern, URLResolver):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            yield from _walk(pattern.url_patterns, inner, takes)
        elif isinstance(pattern, URLPattern) and pattern.name:
            yield f"{space}{pattern.name}", takes


def _plain(value: Any) -> Any:
    return str(value) if not isinstance(value, int) else value
