"""The frame around a Dash page: the same Django template as every desk page, so that the running
head, the rights and the look are one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from dash import Dash
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

_request: ContextVar[HttpRequest | None] = ContextVar("kerfbook_dash_request", default=None)


@contextmanager
def framed(request: HttpRequest) -> Iterator[None]:
    """While Dash answers this request, its page is drawn in this person's frame."""
    token = _request.set(request)
    try:
        yield
    finally:
        _request.reset(token)


def current_request() -> HttpRequest | None:
    """The request Dash is answering, for callbacks that must know who asks."""
    return _request.get()


class FramedDash(Dash):
    """A Dash app whose index page is `kerfbook/dash.html`."""

    def interpolate_index(self, *args: Any, **parts: Any) -> str:
        """Dash hands every part by its name."""
        safe = {key: mark_safe(value) for key, value in parts.items()}  # noqa: S308 - Dash's own
        context = {"dash": safe, "page_title": self.title}
        return render_to_string("kerfbook/dash.html", context, request=_request.get())
