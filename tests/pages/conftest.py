"""Every room's pages in front of a real browser: one small shop, served, and people to look."""

from __future__ import annotations

import os

import pytest
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore

from shopfloor.roles import roles_sync
from tests.shopfloor.office.conftest import fast, feed, job, nest, plan, run, sheet, steel

__all__ = ["fast", "feed", "job", "nest", "plan", "run", "sheet", "steel"]
CHROMIUM = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(autouse=True)
def _roles(transactional_db):
    """A test that commits empties the database afterwards, roles of the first migration too."""
    roles_sync()


@pytest.fixture(scope="module")
def chromium():
    """One browser for the module. Its loop runs in this thread, which Django must bear."""
    from playwright.sync_api import sync_playwright

    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as played:
        browser = played.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM)
        yield browser
        browser.close()
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture
def signed_in(chromium, live_server):
    """signed_in(user, width, height): a browser window of that person, closed afterwards."""
    contexts = []

    def window(user, width: int = 1440, height: int = 900, **more):
        session = SessionStore()
        session[SESSION_KEY] = str(user.pk)
        session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
        session[HASH_SESSION_KEY] = user.get_session_auth_hash()
        session.save()
        context = chromium.new_context(
            viewport={"width": width, "height": height}, base_url=live_server.url, **more
        )
        contexts.append(context)
        context.add_cookies(
            [{"name": "sessionid", "value": session.session_key, "url": live_server.url}]
        )
        return context.new_page()

    yield window
    for context in contexts:
        context.close()
