"""Trying a source in a real Chromium: the answer changes as the description is typed."""

from __future__ import annotations

import re

import pytest

from shopfloor.people.roles import roles_sync
from telemetry.models import Feed
from tests.browser import launched_beside_django, session_cookie
from tests.shopfloor.conftest import FEED

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The live server starts before any test has its own static folder; files come from the finders.
    pytest.mark.filterwarnings("ignore:No directory at"),
]
LINES = "1,2026-10-08T08:00:00,BURN,\n2,2026-10-08T08:00:30,ARC OFF,\n3,2026-10-08T08:01:00,EH,\n"


@pytest.fixture(autouse=True)
def _roles(transactional_db):
    """A test that commits empties the database afterwards, roles of the first migration too."""
    roles_sync()


@pytest.fixture(scope="module")
def chromium():
    with launched_beside_django() as browser:
        yield browser


@pytest.mark.parametrize("width", [1440, 390])
def test_a_sample_is_decoded_as_the_description_changes_and_kept_once_it_works(
    chromium, live_server, administrator, shop, width
):
    from playwright.sync_api import expect

    context = chromium.new_context(viewport={"width": width, "height": 900})
    context.add_cookies([session_cookie(administrator, live_server.url)])
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(f"{live_server.url}/sources/add/")
    tried = page.locator("#tried")
    page.fill("[name=name]", "bay-1")
    page.fill("[name=pasted]", LINES)

    # A description that knows no word of these lines: nothing can be read, and nothing is kept.
    other = FEED.replace('"ARC ON"', '"FIRE"').replace('"ARC OFF"', '"DONE"')
    page.fill("[name=text]", other)
    expect(tried).to_contain_text("unknown signal")
    page.click("button[value=save]")
    page.wait_for_load_state()
    assert not Feed.objects.exists()
    assert page.input_value("[name=text]") == other  # what was typed stays

    # One word put right by hand: one line more is an event, without a press of any button.
    page.fill("[name=text]", other.replace('"DONE"', '"ARC OFF"'))
    expect(tried).to_contain_text(re.compile("2 of 3 lines could not be read"))
    page.fill("[name=text]", FEED.replace('"ARC ON"', '"BURN"'))
    expect(tried).to_contain_text(re.compile("1 of 3 lines could not be read.*1 arc"))
    expect(tried).to_contain_text("EH")
    page.fill("[name=text]", FEED.replace("[line]", "[line"))
    expect(tried).to_contain_text(re.compile(r":\d+: "))
    assert not Feed.objects.exists()  # trying stores nothing
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")

    page.fill("[name=text]", FEED.replace('"ARC ON"', '"BURN"'))
    expect(tried).to_contain_text("1 arc")
    page.click("button[value=save]")
    page.wait_for_url("**/sources/at/bay-1/")
    assert Feed.objects.get().name == "bay-1"
    assert wrong == []
    context.close()
