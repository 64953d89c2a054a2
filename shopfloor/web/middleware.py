"""Small layers every request passes: what is text, what may load, who acts, the shop's clock."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from zoneinfo import ZoneInfo

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.audit.actor import acting, coming_from
from shopfloor.people.address import client_address
from shopfloor.site.queries import shop_zone
from shopfloor.wording.visible import visible
from telemetry.read_once import read_once

Handler = Callable[[HttpRequest], HttpResponse]

FORM_TYPES = ("application/x-www-form-urlencoded", "multipart/form-data")
AS_TYPED = ("password", "password1", "password2", "pin", "pasted", "csrfmiddlewaretoken")
POLICY = (
    "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; "
    "script-src 'self'; connect-src 'self'; font-src 'self' data:; object-src 'none'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)


class WholeText:
    """Turns away addresses and forms with a NUL in them. No keyboard makes one, PostgreSQL keeps
    none, and not every value that a page asks for passes through a form's own checks."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_args: object) -> None:
        # A form is read here and no other body: a collector's may be turned away by its length.
        fields = [request.GET]
        if request.content_type in FORM_TYPES:
            fields.append(request.POST)
        for name, values in (pair for field in fields for pair in field.lists()):
            if any("\0" in text for text in (name, *values)):
                raise BadRequest(_("{name!r} holds a NUL").format(name=name[:40]))
        if "\0" in request.path:
            raise BadRequest(_("the address holds a NUL"))


class VisibleText:
    """Takes out of forms and file names the marks nobody sees (`shopfloor.wording.visible`), before
    any page reads them. What is secret, and lines pasted as a table sent them, stay as they are.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_args: object) -> None:
        if request.method != "POST" or request.content_type not in FORM_TYPES:
            return
        for upload in (one for _name, files in request.FILES.lists() for one in files):
            upload.name = visible(upload.name or "")
        fields = request.POST.copy()
        for name, values in list(fields.lists()):
            if not name.lower().endswith(AS_TYPED):
                fields.setlist(name, [visible(value) for value in values])
        request.POST = fields  # type: ignore[assignment]  # a copy is not marked as fixed


class ContentSecurityPolicy:
    """Nothing is fetched from outside the shop. A view that needs more sets its own header."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        return response


class WhoActs:
    """Puts the signed-in person on the audit trail of everything the request writes. Why is for
    the services to say, where a page asks for it: nothing a client sends becomes the reason."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        who = f"user:{user.get_username()}" if user.is_authenticated else "anonymous"
        with coming_from(client_address(request)), acting(who):
            return self.get_response(request)


class ShopTime:
    """Pages show the shop's own zone, wherever the browser is. One that only shows something reads
    shop and shifts once."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        once = read_once() if request.method in ("GET", "HEAD") else nullcontext()
        with once, timezone.override(ZoneInfo(shop_zone())):
            return self.get_response(request)
