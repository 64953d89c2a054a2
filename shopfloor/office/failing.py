"""What a person is shown when a page could not be made."""

from __future__ import annotations

import sys

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.defaults import server_error


def failed(request: HttpRequest) -> HttpResponse:
    """A database that is away or locked is no fault of the page: 503, and when to come again."""
    if isinstance(sys.exc_info()[1], OperationalError):
        response = render(None, "503.html", status=503)
        response.headers["Retry-After"] = "5"
        return response
    return server_error(request)
