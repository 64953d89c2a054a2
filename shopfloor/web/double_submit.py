"""Keeps a form pressed twice from being taken twice: two sheets where one was received.

Each time a page is drawn its forms carry another CSRF value, so the same value with the same
fields at the same address is the same press. The first to come is taken; the other is answered
with where it came from. Kept as empty files of the data folder, which every web process of a
machine shares and one of two at once can make.
"""

from __future__ import annotations

import contextlib
import hashlib
import time
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

KEPT_S = 3600
MOST = 1000


class DoubleSubmitGuard:
    """For signed-in people's forms. One that was not taken (shown again with its errors, refused,
    failed) may be sent again as it is."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        press = _press(request)
        if press is None:
            return self.get_response(request)
        path = Path(settings.DATA_DIR) / "once" / press
        try:
            _make(path)
        except FileExistsError:
            messages.warning(
                request,
                _("This was sent twice. Look whether it is there before sending it again."),
            )
            return redirect(_back(request))
        response = self.get_response(request)
        if not 300 <= response.status_code < 400:
            path.unlink(missing_ok=True)
        return response


def _press(request: HttpRequest) -> str | None:
    """A name for this press of this form; None where it is no form of a signed-in person."""
    if request.method != "POST" or not request.user.is_authenticated:
        return None
    if not request.POST.get("csrfmiddlewaretoken"):
        return None
    said = [request.get_full_path(), *(repr(pair) for pair in sorted(request.POST.lists()))]
    for name in sorted(request.FILES):
        said += [f"{name} {file.name} {file.size}" for file in request.FILES.getlist(name)]
    return hashlib.sha256("\n".join(said).encode(errors="replace")).hexdigest()


def _make(path: Path) -> None:
    """Raises FileExistsError where it is there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch(exist_ok=False)
    others = list(path.parent.iterdir())
    if len(others) > MOST:
        for other in others:
            with contextlib.suppress(FileNotFoundError):
                if other.stat().st_mtime < time.time() - KEPT_S:
                    other.unlink(missing_ok=True)


def _back(request: HttpRequest) -> str:
    came_from = request.headers.get(_("Referer"), "")
    if url_has_allowed_host_and_scheme(
        came_from, {request.get_host()}, require_https=request.is_secure()
    ):
        return came_from
    return "home"
