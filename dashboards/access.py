"""Who may open which of these pages, and what each person sees on them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, cast

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect

from shopfloor.web.access import (
    ANY,
    ASSIGN,
    CLOSE,
    COST,
    FEEDS,
    FLOOR,
    MARGIN,
    PERSONS,
    QUOTES,
    View,
    may,
    opening,
)

DESK = tuple(code for code in ANY if code != FLOOR)


@dataclass(frozen=True, slots=True)
class Reader:
    """What one person sees: money, quotes and margin, who did what when; and what they may do."""

    cost: bool = False
    margin: bool = False
    quotes: bool = False
    persons: bool = False
    assign: bool = False
    close: bool = False
    floor: bool = False
    feeds: bool = False
    inch: bool = False


def reader_of(user: Any) -> Reader:
    """The person's rights, read once."""
    if user is None or not user.is_authenticated:
        return Reader()
    return Reader(
        cost=may(user, COST),
        margin=may(user, COST) and may(user, MARGIN),
        quotes=may(user, QUOTES) or (may(user, COST) and may(user, MARGIN)),
        persons=may(user, PERSONS),
        assign=may(user, ASSIGN),
        close=may(user, CLOSE),
        floor=may(user, FLOOR),
        feeds=may(user, FEEDS),
        inch=getattr(user, "units", "") == "inch",
    )


def desk(*codes: str) -> Callable[[View], View]:
    """Opens a page to signed-in desk people, or with `codes` to those with one of them. A person
    of the floor alone is shown the way to the floor; the others get the 403 page, strangers the
    sign-in page."""
    wanted = codes or DESK

    def wrap(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            user = cast(Any, request.user)
            if not user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if may(user, *wanted):
                return view(request, *args, **kwargs)
            if request.method == "GET" and not codes and may(user, FLOOR):
                return redirect("floor:home")
            raise PermissionDenied

        return opening(guarded, lambda user: may(user, *wanted))

    return wrap
