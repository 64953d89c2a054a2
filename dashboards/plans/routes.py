"""A nest's routes side by side."""

from __future__ import annotations

import logging
from typing import Any

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from dashboards import data
from dashboards.access import desk, reader_of
from dashboards.ledgers import routes as ledgers
from planning.calc.said import to_reader
from planning.reports.routes import NestRoutes
from shopfloor.audit.row_versions import nest_version
from shopfloor.web.access import PLAN, WAGE, may
from shopfloor.wording.numbers_in import row_number

log = logging.getLogger(__name__)


@desk()
@require_safe
def nest_routes(request: HttpRequest, nest_id: int) -> HttpResponseBase:
    """`table` and `speed` (per cent of the chart's) come from the address."""
    table, speed = request.GET.get("table", ""), request.GET.get("speed", "")
    refused, seen = "", nest_version(nest_id)
    try:
        share = float(speed) / 100 if speed else 1.0
        found = _found(nest_id, table, share)
    except ValueError as wrong:
        refused, found = str(wrong), _found(nest_id, table, 1.0)
    return render(
        request, "kerfbook/routes.html", _context(request, found, refused) | {"seen": seen}
    )


def _found(nest_id: int, table: str, share: float) -> NestRoutes:
    try:
        return data.nest_routes(nest_id, data.now(), row_number(table), share)
    except LookupError as missing:
        raise Http404(str(missing)) from missing


def _context(request: HttpRequest, found: NestRoutes, refused: str) -> dict[str, Any]:
    user: Any = request.user
    reader, now = reader_of(user), data.now()
    return {
        "found": found,
        "barred": [(name, to_reader(why, inch=reader.inch)) for name, why in found.refused],
        "routes": ledgers.said(found, data.zone(), now, inch=reader.inch),
        "flips": ledgers.flip_words(found, reader, wage=may(user, WAGE)),
        "lede": ledgers.lede(found, reader),
        "reader": reader,
        "may_plan": may(user, PLAN),
        "refused": refused,
        "speed": request.GET.get("speed", ""),
        "age_s": (now - found.computed_at).total_seconds() if found.computed_at else None,
        "edges": _edges(found, inch=reader.inch),
        "unknown_prices": [
            name
            for name, price in (
                (_("No machine or operator rate"), found.prices.table),
                (_("No bench rate"), found.prices.bench),
            )
            if price is None
        ],
    }


def _edges(found: NestRoutes, *, inch: bool) -> list[str]:
    """What the next steps make of the edge, said once."""
    rows = [row for row in found.rows if row.speed_share == 1.0]
    return list(dict.fromkeys(to_reader(edge, inch=inch) for row in rows for edge in row.edges))
