"""Measured cuts over time: an individuals chart for each set, material and thickness."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from planning.calc.control import NEEDED
from planning.calc.units import in_from_mm
from shopfloor.quality.queries import (
    MEASURES,
    CheckGroup,
    check_groups,
    control_of,
    group_checks,
    seen,
    u_lines_mm,
)
from shopfloor.svg.control_chart import control_chart
from shopfloor.web.access import ANY, PERSONS, DeskRequest, may, right

NAMES = {"u": N_("Squareness u"), "kerf": N_("Kerf correction a side")}


@right(*ANY)
def checks(request: DeskRequest) -> HttpResponse:
    """`?of=` names the set, material and thickness, `?measure=` u or kerf."""
    groups = check_groups()
    asked, measure = request.GET.get("of", ""), request.GET.get("measure", "u")
    group = next((one for one in groups if one.key == asked), groups[0] if groups else None)
    if measure not in MEASURES or (asked and (group is None or group.key != asked)):
        raise Http404
    context: dict[str, Any] = {
        "groups": groups,
        "group": group,
        "measure": measure,
        "names": {key: _(name) for key, name in NAMES.items()},
        "needed": NEEDED,
        "persons": may(request.user, PERSONS),
    }
    if group is not None:
        context |= _chart(group, measure, inch=request.user.units == "inch")
    return render(request, "quality/checks.html", context)


def _chart(group: CheckGroup, measure: str, *, inch: bool) -> dict[str, Any]:
    rows = group_checks(group)
    known, control = control_of(rows, measure)
    context: dict[str, Any] = {"rows": seen(rows, known, control), "known": len(known)}
    if control is None:
        return context
    lines = u_lines_mm(group.thickness_mm) if measure == "u" else []
    if inch:
        known, control = control_of(rows, measure, scale=in_from_mm(1.0))
        lines = [(number, in_from_mm(mm)) for number, mm in lines]
    chart = control and control_chart(
        control,
        unit=_("in") if inch else _("mm"),
        digits=4 if inch else 2,
        lines=[(y, _("range {number}").format(number=number)) for number, y in lines],
        what=_(NAMES[measure]),
    )
    return context | {"chart": chart, "control": control}
