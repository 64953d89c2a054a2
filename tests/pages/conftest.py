"""Every room's pages in front of a real browser: one small shop, served, and people to look."""

from __future__ import annotations

import pytest

from shopfloor.people.roles import roles_sync
from tests.browser import launched_beside_django, session_cookie
from tests.shopfloor.conftest import fast, feed, job, nest, plan, run, sheet, steel

__all__ = ["fast", "feed", "job", "nest", "plan", "run", "sheet", "steel"]


@pytest.fixture(autouse=True)
def _roles(transactional_db):
    """A test that commits empties the database afterwards, roles of the first migration too."""
    roles_sync()


@pytest.fixture(scope="module")
def chromium():
    with launched_beside_django() as browser:
        yield browser


@pytest.fixture
def signed_in(chromium, live_server):
    """signed_in(user, width, height): a browser window of that person, closed afterwards."""
    contexts = []

    def window(user, width: int = 1440, height: int = 900, **more):
        context = chromium.new_context(
            viewport={"width": width, "height": height}, base_url=live_server.url, **more
        )
        contexts.append(context)
        context.add_cookies([session_cookie(user, live_server.url)])
        return context.new_page()

    yield window
    for context in contexts:
        context.close()
