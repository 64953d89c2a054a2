"""The program's own addresses, and a bare page to hold them against."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import include, path
from django.utils import timezone
from django.views.decorators.http import require_safe

from planning.services.promises_kept import promises_due
from shopfloor.urls import handler500

__all__ = ["handler500", "urlpatterns"]
BARE = "bench-bare/"
KEPT = "bench-kept/"


@require_safe
def bare(request: HttpRequest) -> HttpResponse:
    """Knows who asks, through the middleware of every page, and says so."""
    return HttpResponse(f"<!doctype html><title>bare</title>{request.user.get_username()}")


@require_safe
def kept(request: HttpRequest) -> HttpResponse:
    """Does what the background worker does every ten seconds for pages to read."""
    promises_due(now=timezone.now())
    return HttpResponse("kept")


urlpatterns = [path(BARE, bare), path(KEPT, kept), path("", include("shopfloor.urls"))]
