"""What every page's frame shows: the shop's name and the pages this person may open."""

from __future__ import annotations

from functools import cache
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import SecurityNotice, User
from shopfloor.people.rights import COST
from shopfloor.people.security_queries import notices_open
from shopfloor.site.first_steps import next_step, steps_missing
from shopfloor.site.queries import the_shop

# label, URL name, permission needed (blank: any signed-in desk person)
NAV = (
    (N_("Today"), "today", ""),
    (N_("Jobs"), "jobs", ""),
    (N_("Nests"), "nests", ""),
    (N_("Stock"), "stock", ""),
    (N_("Balance"), "balance", ""),
    (N_("Wear"), "wear", ""),
    (N_("Cost"), "cost", f"shopfloor.{COST}"),
    (N_("Sources"), "sources", ""),
)


def shop(request: HttpRequest) -> dict[str, Any]:
    user = getattr(request, "user", None)
    return {
        "shop": the_shop(),
        "nav": SimpleLazyObject(lambda: _nav(request)),  # the floor's pages have none
        "notices": lambda: notices_for(user),
        "first_steps": cache(steps_missing),  # asked for more than once by a page
        "next_step": next_step,
    }


def _nav(request: HttpRequest) -> list[dict[str, Any]]:
    user = getattr(request, "user", None)
    nav = []
    if user is not None and user.is_authenticated:
        for label, name, right in NAV:
            if right and not user.has_perm(right):
                continue
            try:
                url = reverse(name)
            except NoReverseMatch:
                continue
            nav.append({"label": _(label), "url": url, "current": request.path.startswith(url)})
    return nav


def notices_for(user: object) -> list[SecurityNotice]:
    """Asked for only by pages that have room for it."""
    return notices_open(user) if isinstance(user, User) else []
