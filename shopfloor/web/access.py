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
from shopfloor.people.rights import (
    ASSIGN as ASSIGN,
)
from shopfloor.people.rights import (
    CHART as CHART,
)
from shopfloor.people.rights import (
    CLOSE as CLOSE,
)
from shopfloor.people.rights import (
    COST as COST,
)
from shopfloor.people.rights import (
    FEEDS as FEEDS,
)
from shopfloor.people.rights import (
    FLOOR as FLOOR,
)
from shopfloor.people.rights import (
    MARGIN as MARGIN,
)
from shopfloor.people.rights import (
    PERSONS as PERSONS,
)
from shopfloor.people.rights import (
    PLAN as PLAN,
)
from shopfloor.people.rights import (
    QUOTES as QUOTES,
)
from shopfloor.people.rights import (
    SECURITY as SECURITY,
)
from shopfloor.people.rights import (
    WAGE as WAGE,
)
from shopfloor.people.rights import (
    may as may,
)

View = Callable[..., HttpResponseBase]

# Reading jobs, nests and stock takes any right at all: a person with none sees nothing.
ANY = (PLAN, COST, CHART, FEEDS, FLOOR, ASSIGN, PERSONS, CLOSE)


class DeskRequest(HttpRequest):
    """A request whose person is signed in."""

    user: User


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
