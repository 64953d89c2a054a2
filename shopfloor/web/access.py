"""Who may open a page: one decorator for all of them."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.urls import NoReverseMatch, Resolver404, resolve, reverse

from shopfloor.models import Role, User

View = Callable[..., HttpResponseBase]

PLAN = "plan_work"
COST = "see_cost"
WAGE = "see_wage"
MARGIN = "see_margin"
QUOTES = "make_quotes"
CHART = "edit_chart"
FEEDS = "manage_feeds"
ASSIGN = "assign_arcs"
FLOOR = "work_floor"
SECURITY = "see_security"
# Reading jobs, nests and stock takes any right at all: a person with none sees nothing.
ANY = (PLAN, COST, CHART, FEEDS, FLOOR, "assign_arcs", "see_person_times", "close_month")


class DeskRequest(HttpRequest):
    """A request whose person is signed in."""

    user: User


def may(user: User, *codes: str) -> bool:
    """Whether the person has one of the rights."""
    return any(user.has_perm(f"shopfloor.{code}") for code in codes)


def right(*codes: str) -> Callable[[View], View]:
    """Opens a page to signed-in people with one of the rights; the others get the 403 page,
    strangers the sign-in page."""
    return _guard(lambda user: may(user, *codes))


def signed_in(view: View) -> View:
    """Opens a page to everybody who is signed in: their own settings."""
    return _guard(lambda user: True)(view)


def administrator(view: View) -> View:
    """Opens a page to those who keep the sign-ins."""
    return _guard(lambda user: user.is_superuser or user.role == Role.ADMINISTRATOR)(view)


def _guard(allowed: Callable[[User], bool]) -> Callable[[View], View]:
    def wrap(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if not allowed(request.user):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        return opening(guarded, allowed)

    return wrap


def opening(view: View, allowed: Callable[[User], bool]) -> View:
    """The view with whom it opens to written on it, for links that lead there."""
    vars(view)["opens_to"] = allowed
    return view


def may_open(user: User, name: str) -> bool:
    """Whether the person gets the page of that URL name, which takes no arguments. A page that is
    not there opens to nobody; one without a guard opens to all."""
    try:
        view = resolve(reverse(name)).func
    except (NoReverseMatch, Resolver404):
        return False
    allowed: Callable[[User], bool] = getattr(view, "opens_to", lambda _: True)
    return allowed(user)
