"""Remnants with their age and worth, plate against the lists, and labels to stick on either."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shopfloor.models import Sheet
from shopfloor.nests.plate_needed import Plate, plate_of, plates
from shopfloor.site.queries import the_shop
from shopfloor.stock.queries import stock_total
from shopfloor.stock.remnants import (
    customers_drop,
    customers_returned,
    promised_sheets,
    remnants,
    remnants_old,
)
from shopfloor.stock.sheets import remnants_write_off, sheet_back
from shopfloor.svg.codes import code_svg
from shopfloor.web.access import ANY, CHART, COST, PLAN, DeskRequest, may, right
from shopfloor.web.forms import page_of
from shopfloor.wording.numbers_in import row_number

MOST_LABELS = 60
SORTS = (
    "code", "material__code", "area_mm2", "heat__number", "place", "received_at", "cost_minor"
)  # fmt: skip


@right(*ANY)
def remnants_page(request: DeskRequest) -> HttpResponse:
    prices = may(request.user, COST, CHART)
    old = set(remnants_old(now=timezone.now()).values_list("pk", flat=True))
    return render(
        request, "stock/remnants.html",
        {
            "page_obj": page_of(request, remnants(), SORTS if prices else SORTS[:-1]),
            "total": stock_total(remnants()),
            "old": old, "promised": set(promised_sheets()), "rules": the_shop(),
            "drop": customers_drop(), "returned": customers_returned(),
            "prices": prices, "may_plan": may(request.user, PLAN),
        },
    )  # fmt: skip


@right(PLAN)
@require_POST
def write_off(request: DeskRequest) -> HttpResponse:
    gone = remnants_write_off(now=timezone.now())
    named = ", ".join(sheet.code for sheet in gone) or _("none was old enough")
    messages.success(request, _("Written off, to the shop: {named}.").format(named=named))
    return redirect("remnants")


@right(PLAN)
@require_POST
def back(request: DeskRequest, pk: int) -> HttpResponse:
    sheet = get_object_or_404(Sheet, pk=pk)
    try:
        sheet_back(sheet=sheet, why=request.POST.get("why", ""))
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    return redirect("sheet", pk)


@right(*ANY)
def low(request: DeskRequest) -> HttpResponse:
    rows = plates()
    short = [plate for plate in rows if plate.short]
    return render(
        request, "stock/plate_needed.html",
        {"rows": rows, "short": short, "total": _total(rows), "may_plan": may(request.user, PLAN)},
    )  # fmt: skip


COUNTED = ("sheets", "promised", "free", "remnants", "listed", "short", "ahead", "short_ahead")


def _total(rows: list[Plate]) -> dict[str, int]:
    """Sheets of all materials together, column by column."""
    return {name: sum(getattr(row, name) for row in rows) for name in COUNTED}


@right(*ANY)
def plate(request: DeskRequest, material: int, mm: str) -> HttpResponse:
    """The sheets, queue entries and nests that one row of plate needed counts."""
    try:
        found = plate_of(material, float(mm))
    except ValueError:
        found = None
    if found is None:
        raise Http404
    return render(request, "stock/plate.html", {"plate": found})


@right(*ANY)
def labels(request: DeskRequest) -> HttpResponse:
    """`?sheet=` once for each sheet or remnant; without one all remnants. No money."""
    asked = [pk for text in request.GET.getlist("sheet") if (pk := row_number(text)) is not None]
    found = remnants().select_related("material", "heat", "owner")
    if asked:
        found = Sheet.objects.filter(pk__in=asked).select_related("material", "heat", "owner")
    rows = [(sheet, code_svg(sheet.code)) for sheet in found[:MOST_LABELS]]
    return render(request, "stock/sheet_labels.html", {"rows": rows})
