"""The program's own addresses, and a bare page to hold them against."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import include, path
from django.views.decorators.http import require_safe

from shopfloor.urls import handler500

__all__ = ["handler500", "urlpatterns"]
BARE = "bench-bare/"


@require_safe
def bare(request: HttpRequest) -> HttpResponse:
    """Knows who asks, through the middleware of every page, and says so."""
    return HttpResponse(f"<!doctype html><title>bare</title>{request.user.get_username()}")


urlpatterns = [path(BARE, bare), path("", include("shopfloor.urls"))]
