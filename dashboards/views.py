"""The Dash pages: each answers every address under its own prefix, behind one check of rights."""

from __future__ import annotations

from types import ModuleType

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from dashboards.access import desk
from dashboards.mount import dash_app, serve
from dashboards.pages import balance as balance_page
from dashboards.pages import cost as cost_page
from dashboards.pages import parts
from dashboards.pages.cost_address import PREFIX as COST
from dashboards.shell import framed
from shopfloor.people import rights
from shopfloor.web.tables import as_file, chosen, wanted


@desk(rights.COST)
def cost(request: HttpRequest, rest: str = "") -> HttpResponse:
    return _answer(request, "cost", COST, _("Cost"), cost_page)


@desk()
def balance(request: HttpRequest, rest: str = "") -> HttpResponse:
    return _answer(request, "balance", balance_page.PREFIX, _("Balance"), balance_page)


def _answer(
    request: HttpRequest, name: str, prefix: str, title: str, page: ModuleType
) -> HttpResponse:
    """The page, or the table of it that is asked for as a file: drawn for the same reader."""
    kind = wanted(request)
    if not kind:
        return serve(request, dash_app(name, prefix, title, page.register))
    with framed(request), parts.tables_taken() as sheets:
        page.page(f"?{request.META.get('QUERY_STRING', '')}")
    return as_file(chosen(sheets, request.GET["table"]), kind)
