"""Where collectors deliver: `/intake/<feed>/`, opened by a token of that feed alone.

POST: journal records one after the other as the body, `Kerfbook-Collector` their sender. GET: asks
which number is wanted next. Both answer `{"next": n}` once all before n is on disk; else
`{"error": ...}` with a status that says whether to come again (429, 503) or not.
"""

from __future__ import annotations

import math

from django.http import HttpRequest, JsonResponse, UnreadablePostError
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from shopfloor.people.address import address_block, client_address
from shopfloor.people.security import security_event
from shopfloor.people.throttle import Limit, attempt, must_wait
from shopfloor.web.middleware import FORM_TYPES
from shopfloor.web.rate_limit import RateLimit
from telemetry.errors import PushError
from telemetry.feeds.push.receipt import Delivery, push_take
from telemetry.feeds.push.records import MAX_BODY
from telemetry.models import PushToken
from telemetry.services import push_token_find

DELIVERIES = RateLimit(per_s=20, burst=60)
WRONG_TOKENS = Limit("push token", 10, 60)


# A token in a header is no cookie: a browser sends none by itself, so there is nothing to forge.
@csrf_exempt
@never_cache
@require_http_methods(["GET", "POST"])
def deliver(request: HttpRequest, name: str) -> JsonResponse:
    try:
        token = _token(request, name)
        body = _body(request) if request.method == "POST" else b""
        wanted = push_take(token=token, body=body, delivery=_delivery(request))
    except PushError as error:
        return _refused(error)
    return JsonResponse({"next": wanted})


def _token(request: HttpRequest, name: str) -> PushToken:
    """A right token is never refused for a wrong one beside it, which may come from the same
    address: what keeps a token from being guessed are its 256 random bits. Wrong ones are slowed
    down so that a misconfigured collector is told apart and costs little."""
    scheme, _, given = request.headers.get("Authorization", "").partition(" ")
    found = push_token_find(feed_name=name, token=given) if scheme.lower() == "bearer" else None
    if found is None:
        block = address_block(client_address(request))
        security_event("source_refused", address=block, text="at the address of a source")
        wait_s = must_wait(WRONG_TOKENS, block, name) or attempt(WRONG_TOKENS, block, name)
        if wait_s:
            raise _later("too many wrong tokens for this feed from this address", wait_s)
        raise PushError(401, f"this token does not open the feed {name!r}")
    if wait_s := DELIVERIES.wait_s(found.pk):
        raise _later("too many deliveries", wait_s)
    return found


def _body(request: HttpRequest) -> bytes:
    """The body, never more of it than is allowed."""
    if request.content_type in FORM_TYPES:
        raise PushError(415, "a delivery is not a form, send application/octet-stream")
    if request.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise PushError(415, "a compressed delivery is not taken, send it as it is")
    length = request.headers.get("Content-Length", "")
    if not (length.isascii() and length.isdigit()):
        raise PushError(411, "the length of the delivery is not given")
    if len(length.lstrip("0")) > 9 or int(length) > MAX_BODY:
        raise PushError(413, f"over {MAX_BODY} bytes in one delivery")
    try:
        return request.body
    except UnreadablePostError as problem:
        raise PushError(400, "the delivery was cut short", retry=True) from problem


def _delivery(request: HttpRequest) -> Delivery:
    return Delivery(
        collector=request.headers.get("Kerfbook-Collector", ""),
        now_us=_number(request, "Kerfbook-Now"),
        lost=request.headers.get("Kerfbook-Lost") == "true",
        waiting=_number(request, "Kerfbook-Waiting"),
    )


def _number(request: HttpRequest, header: str) -> int | None:
    text = request.headers.get(header, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


def _later(message: str, wait_s: float) -> PushError:
    error = PushError(429, message, retry=True)
    error.hint = str(math.ceil(wait_s))
    return error


def _refused(error: PushError) -> JsonResponse:
    told: dict[str, object] = {"error": error.message}
    if error.next_sequence is not None:
        told["next"] = error.next_sequence
    answer = JsonResponse(told, status=error.status)
    if error.retry:
        answer.headers["Retry-After"] = error.hint or "1"
    if error.status == 401:
        answer.headers["WWW-Authenticate"] = "Bearer"
    return answer
