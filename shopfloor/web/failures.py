"""What a person is shown when a page could not be made."""

from __future__ import annotations

import sys

from django.core.exceptions import BadRequest, DisallowedHost
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.defaults import server_error


def failed(request: HttpRequest) -> HttpResponse:
    """A database that is away or locked is no fault of the page: 503, and when to come again."""
    if isinstance(sys.exc_info()[1], OperationalError):
        response = render(None, "503.html", status=503)
        response.headers["Retry-After"] = "5"
        return response
    return server_error(request)


def refused(request: HttpRequest, exception: Exception) -> HttpResponse:
    """What was asked cannot be answered as it is; a request of our own making says why."""
    words = _("What was sent is not what this page takes.")
    if isinstance(exception, BadRequest) and exception.args:
        words = str(exception)
    elif isinstance(exception, DisallowedHost):
        words = _("This machine does not answer to that name; KERFBOOK_HOSTS lists those it does.")
    return render(None, "400.html", {"words": words}, status=400)
