"""Serves a Dash app from inside a Django view, so that sign-in, rights, CSRF, compression and the
test client all hold for it as for any page.

The view hands the request's own WSGI environment and body to Dash's application and copies its
answer back. Dash sends Django's CSRF cookie as a header, so nothing is exempted.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Callable, Iterable
from typing import Any

from dash import Dash
from dash.exceptions import DependencyException
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.utils.translation import gettext as _

from dashboards.callbacks import asked
from dashboards.shell import FramedDash, framed
from shopfloor.web.raw_body import raw_body

_lock = threading.Lock()
_apps: dict[str, Dash] = {}

# Dash writes style attributes, so inline styles must be allowed; scripts are ours or named by hash.
POLICY = (
    "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; "
    "script-src 'self' {hashes}; connect-src 'self'; font-src 'self' data:; object-src 'none'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'self'"
)


def dash_app(name: str, prefix: str, title: str, build: Callable[[Dash], None]) -> Dash:
    """The app of that name, made once. `build` sets its layout and callbacks. Each app is warmed
    under a lock: first requests from several threads at once made Dash answer 500 now and then."""
    with _lock:
        if name not in _apps:
            app = FramedDash(
                name,
                title=title,
                server=True,
                routes_pathname_prefix=prefix,
                requests_pathname_prefix=prefix,
                serve_locally=True,
                include_assets_files=False,
                csrf_token_name="csrftoken",  # noqa: S106 - a cookie's name
                csrf_header_name="X-CSRFToken",
                update_title="",
                enable_mcp=False,
                use_async=False,  # Django's connections belong to this very thread
                add_log_handler=False,
            )
            build(app)
            app.server.register_error_handler(DependencyException, _no_such_file)
            app.server.test_client().get(prefix)
            _apps[name] = app
        return _apps[name]


def _no_such_file(problem: Exception) -> tuple[str, int]:
    return _("There is no such file."), 404


def serve(request: HttpRequest, app: Dash) -> HttpResponse:
    """Dash's answer to this request."""
    get_token(request)  # makes Django set the CSRF cookie that Dash reads
    environ = {key: value for key, value in request.META.items() if isinstance(key, str)}
    body = raw_body(request)
    if request.path.endswith("/_dash-update-component") and request.method == "POST":
        body = asked(app, body)
    environ.update(
        {
            "REQUEST_METHOD": request.method,
            "PATH_INFO": request.path,
            "SCRIPT_NAME": "",
            "QUERY_STRING": request.META.get("QUERY_STRING", ""),
            "CONTENT_LENGTH": str(len(body)),
            "wsgi.input": io.BytesIO(body),
            "wsgi.errors": io.StringIO(),
            "wsgi.url_scheme": request.scheme,
            "wsgi.version": (1, 0),
            "wsgi.multithread": True,
            "wsgi.multiprocess": False,
            "wsgi.run_once": False,
        }
    )
    # Compression is Django's, once.
    environ.pop("HTTP_ACCEPT_ENCODING", None)
    started: dict[str, Any] = {}

    def start_response(
        status: str, headers: list[tuple[str, str]], exc_info: object = None
    ) -> Callable[[bytes], None]:
        started["status"], started["headers"] = int(status.split(" ", 1)[0]), headers
        return lambda data: None

    with framed(request):
        chunks: Iterable[bytes] = app.server.wsgi_app(environ, start_response)
        body = b"".join(chunks)
    response = HttpResponse(body, status=started["status"])
    for key, value in started["headers"]:
        if key.lower() not in {"content-length", "connection", "transfer-encoding"}:
            response[key] = value
    hashes = " ".join(f"'{digest}'" if "'" not in digest else digest for digest in app.csp_hashes())
    response["Content-Security-Policy"] = POLICY.format(hashes=hashes)
    response["X-Frame-Options"] = "SAMEORIGIN"
    return response
