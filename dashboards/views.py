"""The Dash pages: each answers every address under its own prefix, behind one check of rights."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from dashboards.access import desk
from dashboards.mount import dash_app, serve
from dashboards.pages import balance as balance_page
from dashboards.pages import cost as cost_page
from dashboards.pages.cost_address import PREFIX as COST
from shopfloor.people import rights


@desk(rights.COST)
def cost(request: HttpRequest, rest: str = "") -> HttpResponse:
    return serve(request, dash_app("cost", COST, "Cost", cost_page.register))


@desk()
def balance(request: HttpRequest, rest: str = "") -> HttpResponse:
    prefix = balance_page.PREFIX
    return serve(request, dash_app("balance", prefix, "Balance", balance_page.register))
