"""Measures of ISO 22400-2 by table: lines with what they rest on, none of them a headline."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards import data, theme
from dashboards.access import desk
from planning.reports.measures import Measures, TableMeasures

RANGES = ((7, "1 week"), (28, "4 weeks"), (91, "13 weeks"))
USUAL = 28


@dataclass(frozen=True, slots=True)
class Line:
    """`top` and `bottom` are the elements a ratio is made of; blank: a product of the others."""

    label: str
    name: str
    how: str
    top: str = ""
    bottom: str = ""
    unit: str = "h"


LINES = (
    Line("Availability", "availability", "burning / planned busy time", "apt", "pbt"),
    Line("Allocation efficiency", "allocation_efficiency", "in runs / planned busy time",
         "aubt", "pbt"),
    Line("Utilisation efficiency", "utilisation_efficiency", "burning / in runs", "apt", "aubt"),
    Line("Technical efficiency", "technical_efficiency", "burning / (burning + unplanned stops)",
         "apt"),
    Line("Set-up rate", "setup_rate", "set changes / (burning + set changes)", "aust", "aupt"),
    Line("Effectiveness", "effectiveness", "planned arc time / burning, of runs with a plan"),
    Line("Quality ratio", "quality", "good parts / all parts", "gq", "pq", "parts"),
    Line("Scrap ratio", "scrap", "scrap / all parts", "sq", "pq", "parts"),
    Line("Rework ratio", "rework", "rework / all parts", "rq", "pq", "parts"),
    Line("First pass yield", "first_pass_yield", "checks passed / checks judged", "gp", "ip",
         "checks"),
    Line("Overall equipment effectiveness", "oee", "availability × effectiveness × quality"),
)  # fmt: skip


@desk()
@require_safe
def measures(request: HttpRequest) -> HttpResponseBase:
    """`days` in the address: 7, 28 or 91 shift dates up to yesterday."""
    asked = request.GET.get("days", "")
    days = next((n for n, _ in RANGES if str(n) == asked), USUAL)
    last = data.now().astimezone(data.zone()).date() - timedelta(days=1)
    found = data.measures(last - timedelta(days=days - 1), last, data.now())
    context = {
        "found": found,
        "days": days,
        "ranges": RANGES,
        "rows": rows(found),
        "covered": [covered(table) for table in found.tables],
    }
    return render(request, "kerfbook/measures.html", context)


def rows(found: Measures) -> list[dict[str, Any]]:
    """One a line: what it is, how it is made, and each table's figure with its base."""
    return [
        {
            "label": line.label,
            "how": line.how,
            "cells": [
                cell(line, table) | {"key": key(found, line, table)} for table in found.tables
            ],
        }
        for line in LINES
    ]


def key(found: Measures, line: Line, table: TableMeasures) -> str:
    """Opens what a ratio is made of."""
    return f"{found.first}:{found.last}:{table.table_id}:{line.name}"


def cell(line: Line, table: TableMeasures) -> dict[str, str]:
    value = getattr(table.ratios, line.name)
    if value is None:
        return {"value": "", "base": ""}
    return {"value": f"{value:.3f}", "base": base(line, table)}


def base(line: Line, table: TableMeasures) -> str:
    """What a ratio was made of; blank for a product of others."""
    of = table.elements
    top, bottom = (getattr(of, name) if name else None for name in (line.top, line.bottom))
    if line.name == "technical_efficiency" and of.apt is not None and of.adet is not None:
        top, bottom = of.apt, of.apt + of.adet
    if line.name == "effectiveness" and of.apt is not None and of.pri and of.pq:
        top, bottom = of.pri * of.pq, of.apt
    if top is None or bottom is None:
        return ""
    places = 1 if line.unit == "h" else 0
    return f"{top:,.{places}f} of {bottom:,.{places}f} {line.unit}"


def covered(table: TableMeasures) -> str:
    """What a table's times rest on, with their base."""
    if not table.busy_h:
        return f"{table.table}: no run in this time."
    whole = theme.span(table.busy_h * 3600)
    share = table.measured_h / table.busy_h
    measured = f"all {whole}" if share == 1 else theme.percent(share, whole)
    unknown = theme.percent(table.unknown_h / table.busy_h, whole) if table.unknown_h else ""
    rest = "" if share == 1 else ", the rest entered"
    if unknown and table.measured_h + table.unknown_h < table.busy_h:
        rest = f", {unknown} unknown (a source was silent), the rest entered"
    elif unknown:
        rest = ", the rest unknown: a source was silent"
    planned = (
        ""
        if table.planned_share is None
        else (f"; {table.planned_share * 100:.0f} % of the burning had a plan")
    )
    return f"{table.table}: {measured} in runs measured{rest}{planned}."
