"""Measures of ISO 22400-2 by table, each with its base."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from dashboards import data, theme
from dashboards.access import desk
from planning.calc.numbers import filled, written
from planning.reports.measure_list import MEASURES
from planning.reports.measures import Measures, TableMeasures

RANGES = (7, 28, 91)  # days
USUAL = 28


@desk()
@require_safe
def measures(request: HttpRequest) -> HttpResponseBase:
    """`days` in the address: 7, 28 or 91 shift dates up to yesterday."""
    asked = request.GET.get("days", "")
    days = next((n for n in RANGES if str(n) == asked), USUAL)
    last = data.now().astimezone(data.zone()).date() - timedelta(days=1)
    found = data.measures(last - timedelta(days=days - 1), last, data.now())
    context = {
        "found": found,
        "days": days,
        "ranges": [(n, theme.count(n // 7, "{n} week", "{n} weeks")) for n in RANGES],
        "rows": rows(found),
        "covered": [covered(table) for table in found.tables],
    }
    return render(request, "kerfbook/measures.html", context)


def rows(found: Measures) -> list[dict[str, Any]]:
    """One a measure: its label, how it is made, and each table's figure with its base."""
    return [
        {
            "label": _(own.label),
            "how": own.how,
            "cells": [
                {
                    "value": value(name, table),
                    "base": base(name, table),
                    "key": f"{found.first}:{found.last}:{table.table_id}:{name}",
                }
                for table in found.tables
            ],
        }
        for name, own in MEASURES.items()
    ]


def value(name: str, table: TableMeasures) -> str:
    known = getattr(table.ratios, name)
    return "" if known is None else theme.number(known, 3)


def base(name: str, table: TableMeasures) -> str:
    """What a ratio was made of; blank for a product of others."""
    found = MEASURES[name].base(table.elements)
    if name == "effectiveness" and table.with_plan_h:
        found = table.planned_h, table.with_plan_h, "h"
    if found is None:
        return ""
    top, bottom, unit = found
    places = 1 if unit == "h" else 0
    return _("{top} of {bottom} {unit}").format(
        top=written(top, f",.{places}f"),
        bottom=written(bottom, f",.{places}f"),
        unit=_(unit),
    )


def covered(table: TableMeasures) -> str:
    """What a table's times are based on."""
    if not table.busy_h:
        return _("{table}: no run in this time.").format(table=table.table)
    words = _measured(table)
    if table.planned_share is None:
        return _("{measured}.").format(measured=words)
    planned = table.planned_share * 100
    return filled(
        _("{measured}; {planned:.0f} % of the burning had a plan."), measured=words, planned=planned
    )


def _measured(table: TableMeasures) -> str:
    whole = theme.span(table.busy_h * 3600)
    if table.measured_h == table.busy_h:
        words = _("{table}: all {whole} in runs measured")
    elif not table.unknown_h:
        words = _("{table}: {measured} in runs measured, the rest entered")
    elif table.measured_h + table.unknown_h < table.busy_h:
        words = _(
            "{table}: {measured} in runs measured, {unknown} unknown (a source was silent), the "
            "rest entered"
        )
    else:
        words = _("{table}: {measured} in runs measured, the rest unknown: a source was silent")
    return words.format(
        table=table.table,
        whole=whole,
        measured=theme.percent(table.measured_h / table.busy_h, whole),
        unknown=theme.percent(table.unknown_h / table.busy_h, whole),
    )
