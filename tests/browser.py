"""Debian's Chromium for the tests that need a real browser, and a person signed in to it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore

CHROMIUM = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@contextmanager
def launched() -> Iterator[Any]:
    """A browser, closed afterwards."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as played:
        browser = played.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM)
        yield browser
        browser.close()


@contextmanager
def launched_beside_django() -> Iterator[Any]:
    """The same where this process serves the pages too: the browser's loop runs in this thread,
    which Django must bear."""
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with launched() as browser:
        yield browser
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


def session_cookie(user: Any, url: str) -> dict[str, str]:
    """The cookie of a session in which `user` has signed in."""
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    return {"name": "sessionid", "value": session.session_key, "url": url}


def axe_finds(page: Any) -> list[str]:
    """What axe-core finds on the page, with where."""
    from axe_playwright_python.sync_playwright import Axe

    options: dict[str, Any] = {"resultTypes": ["violations"]}
    return [
        f"{one['id']} ({one['impact']}): {node['target']} {node['html'][:160]}"
        for one in Axe().run(page, options=options).response["violations"]
        for node in one["nodes"][:3]
    ]
