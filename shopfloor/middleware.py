"""Three small layers every request passes: what may load, who acts, and the shop's clock."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from shopfloor.acting import acting
from shopfloor.selectors.shop import shop_zone

Handler = Callable[[HttpRequest], HttpResponse]

POLICY = (
    "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; "
    "script-src 'self'; connect-src 'self'; font-src 'self' data:; object-src 'none'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)


class ContentSecurityPolicy:
    """Nothing is fetched from outside the shop. A view that needs more sets its own header."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        return response


class WhoActs:
    """Puts the signed-in person on the audit trail of everything the request writes."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        who = f"user:{user.get_username()}" if user.is_authenticated else "anonymous"
        with acting(who, why=request.headers.get("X-Reason", "")):
            return self.get_response(request)


class ShopTime:
    """Pages show the shop's own zone, wherever the browser is."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with timezone.override(ZoneInfo(shop_zone())):
            return self.get_response(request)
