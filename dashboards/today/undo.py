"""What the person has just done and can take back: kept in the session for ten minutes."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest

WINDOW = timedelta(minutes=10)
KEY = "given-arcs"


def remember(request: HttpRequest, *, said: str, now: datetime, **kept: Any) -> None:
    """Keeps what is needed to take the deed back."""
    request.session[KEY] = {"said": said, "at": now.timestamp(), **kept}


def offered(request: HttpRequest, now: datetime) -> dict[str, Any] | None:
    """The last deed while it can still be taken back."""
    kept: dict[str, Any] | None = request.session.get(KEY)
    if kept is None or now.timestamp() - kept["at"] > WINDOW.total_seconds():
        return None
    return kept


def forget(request: HttpRequest) -> None:
    request.session.pop(KEY, None)
